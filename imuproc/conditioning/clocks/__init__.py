"""TODO imuproc/conditioning/clocks."""
