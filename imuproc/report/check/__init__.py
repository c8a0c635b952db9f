"""TODO imuproc/report/check."""
