"""TODO imuproc/readers/references/c3d."""
