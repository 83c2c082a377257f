"""Bodies and links: plane-stress finite elements, beam members and bounded frictional links.

Independent of bone and implants; `constructs` builds on it. Units: mm, N, MPa, radians.
"""
