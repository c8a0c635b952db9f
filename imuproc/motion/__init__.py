"""Layer 5: orientation and velocity of each segment, free of drift, with covariance."""
