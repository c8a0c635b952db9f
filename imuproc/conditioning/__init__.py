"""Layer 3: Recording to ConditionedRecording: time base, clipping, calibration."""
