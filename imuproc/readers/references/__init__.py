"""TODO imuproc/readers/references."""
