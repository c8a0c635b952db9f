"""TODO imuproc/conditioning/samples."""
