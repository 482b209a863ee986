"""Every file read or written passes here: one gate in, one gate out."""
