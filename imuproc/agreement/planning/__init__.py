"""TODO imuproc/agreement/planning."""
