"""One scene in a process of its own: started, asked, watched, ended."""
