"""TODO imuproc/results."""
