"""The colours of drawings, which are tokens of the style sheet (templates/tokens.css), so that they follow its look.

matplotlib wants colours as numbers: each token has a stand-in, a number that no figure uses for itself. `drawing.svg`
puts the token in its place.
"""

INK, SOFT, LINE, EDGE, DEEP = "#010001", "#010002", "#010003", "#010004", "#010005"
SERIES = ("#010101", "#010102", "#010103", "#010104", "#010105", "#010106")
TOKENS: dict[str, str] = {
    **{INK: "ink", SOFT: "soft", LINE: "line", EDGE: "edge", DEEP: "deep"},
    **{stand_in: f"series-{number}" for number, stand_in in enumerate(SERIES, 1)},
}


def token(stand_in: str) -> str:
    """The CSS value of a token, for a colour outside a figure."""
    return f"var(--{TOKENS[stand_in]})"
