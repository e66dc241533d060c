"""Reports: everything that foreglow prints, draws and writes for people."""
