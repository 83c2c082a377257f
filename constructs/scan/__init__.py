"""A section read from files: an outline, and a map of modulus or density.

The files come from elsewhere and are not trusted: they lie in the study's folder, are read up to
a bounded size, and nothing in them is run or unpacked beyond what their heads announce. Whatever
is wrong is an `InputError` that says where. Read the modules in the order files, grids, outline,
field.
"""
