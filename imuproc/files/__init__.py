"""TODO imuproc/files."""
