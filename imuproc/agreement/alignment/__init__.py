"""TODO imuproc/agreement/alignment."""
