"""Bodies and links: plane-stress finite elements, beam members and bounded frictional links.

Knows nothing of bone or of implants; `constructs` builds on it. Units: mm, N, MPa, radians.
"""
