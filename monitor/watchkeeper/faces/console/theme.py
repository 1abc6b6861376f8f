"""Three themes: dark, light and sunlight (black on white, bold, with the advised call in large letters).

Colours are those of Okabe and Ito ("Color Universal Design", 2008), which people with any colour vision tell apart.
They stand for urgency alone and never without a sign or a word.
"""

from __future__ import annotations

from dataclasses import dataclass

from ...view import Urgency


@dataclass(frozen=True, slots=True)
class Theme:
    """Styles by what they mean, in rich's notation."""

    name: str
    base: str
    dim: str
    strong: str
    heading: str
    rule: str
    bar: str
    bar_rest: str
    key: str
    urgency: dict[Urgency, str]
    #: large letters for the advised call, empty lines between panels
    roomy: bool = False


DARK = Theme(
    name="dark",
    base="",
    dim="dim",
    strong="bold",
    heading="bold",
    rule="dim",
    bar="bold",
    bar_rest="dim",
    key="reverse",
    urgency={
        Urgency.CALM: "",
        Urgency.NOTE: "#56B4E9",
        Urgency.WANTED: "bold #E69F00",
        Urgency.URGENT: "bold #000000 on #D55E00",
    },
)
# on white, orange and vermillion are too pale for text: black stands on them
LIGHT = Theme(
    name="light",
    base="#000000 on #FFFFFF",
    dim="#555555",
    strong="bold",
    heading="bold",
    rule="#888888",
    bar="bold",
    bar_rest="#AAAAAA",
    key="#FFFFFF on #000000",
    urgency={
        Urgency.CALM: "",
        Urgency.NOTE: "#0072B2",
        Urgency.WANTED: "bold #000000 on #E69F00",
        Urgency.URGENT: "bold #000000 on #D55E00",
    },
)
SUNLIGHT = Theme(
    name="sunlight",
    base="bold #000000 on #FFFFFF",
    dim="bold #000000",
    strong="bold",
    heading="bold",
    rule="bold #000000",
    bar="bold",
    bar_rest="bold #000000",
    key="bold #FFFFFF on #000000",
    urgency={
        Urgency.CALM: "",
        Urgency.NOTE: "underline",
        Urgency.WANTED: "bold #000000 on #E69F00",
        Urgency.URGENT: "bold #FFFFFF on #000000",
    },
    roomy=True,
)

THEMES = {theme.name: theme for theme in (DARK, LIGHT, SUNLIGHT)}
