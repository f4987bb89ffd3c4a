"""Two sets of colours, dark and light, after the palette of Okabe and Ito (2008).

The palette keeps apart for every common kind of colour vision; nothing is said by colour alone.
"""

from textual.theme import Theme

DARK = Theme(
    name="dark",
    dark=True,
    primary="#56B4E9",
    secondary="#009E73",
    accent="#E69F00",
    warning="#E69F00",
    error="#E8743B",
    success="#009E73",
    foreground="#E4E6E8",
    background="#101418",
    surface="#181E24",
    panel="#222B33",
    variables={
        "line-0": "#56B4E9",
        "line-1": "#E69F00",
        "line-2": "#B8BEC4",
        "line-3": "#2BC49A",
        "quiet": "#9AA4AE",
        "marked": "#2C3D4B",
        "input-selection-background": "#0072B2",
    },
)

LIGHT = Theme(
    name="light",
    dark=False,
    primary="#0072B2",
    secondary="#007A58",
    accent="#B34700",
    warning="#B34700",
    error="#B34700",
    success="#007A58",
    foreground="#16191C",
    background="#FBFBF9",
    surface="#F1F2EF",
    panel="#E3E6E4",
    variables={
        "line-0": "#0072B2",
        "line-1": "#B34700",
        "line-2": "#4A5157",
        "line-3": "#007A58",
        "quiet": "#565E65",
        "marked": "#CBDDEA",
        "input-selection-background": "#9CCBEA",
    },
)
