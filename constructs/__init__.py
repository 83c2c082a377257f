"""The trade: sections, fractures, implants, studies and comparisons of the proximal tibia.

Everything that it shows is educational and not for planning treatment.
"""

__version__ = "0.1.0"

LABEL = (
    "Educational, not for planning treatment. "
    "Follow local regulations and guidelines, the implant's instructions and licensed practice."
)
