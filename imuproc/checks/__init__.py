"""Layer 8: are sensors and logs fit for use, before a session and after it?"""
