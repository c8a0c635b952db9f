"""TODO imuproc/readers/logs."""
