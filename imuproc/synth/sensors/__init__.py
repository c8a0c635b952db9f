"""TODO imuproc/synth/sensors."""
