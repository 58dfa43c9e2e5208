"""The runs in which a job is printed: which pieces each has, and which printers they are for."""
