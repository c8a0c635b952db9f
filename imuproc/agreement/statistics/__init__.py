"""TODO imuproc/agreement/statistics."""
