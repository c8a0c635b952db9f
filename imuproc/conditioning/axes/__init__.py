"""TODO imuproc/conditioning/axes."""
