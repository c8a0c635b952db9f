"""TODO imuproc/readers/logs/hdf5."""
