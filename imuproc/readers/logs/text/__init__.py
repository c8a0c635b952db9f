"""TODO imuproc/readers/logs/text."""
