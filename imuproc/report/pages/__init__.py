"""Pages, pictures of runs and the squad's overview, all made from archives."""
