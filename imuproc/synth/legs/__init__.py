"""TODO imuproc/synth/legs."""
