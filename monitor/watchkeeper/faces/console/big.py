"""Call signs in letters five lines high, to be read at arm's length in the sun."""

from __future__ import annotations

from .cells import elide

HEIGHT = 5
# one row of pixels after the other; drawn for this page
_GLYPHS = {
    "A": ".##. #..# #### #..# #..#",
    "B": "###. #..# ###. #..# ###.",
    "C": ".### #... #... #... .###",
    "D": "###. #..# #..# #..# ###.",
    "E": "#### #... ###. #... ####",
    "F": "#### #... ###. #... #...",
    "G": ".### #... #.## #..# .###",
    "H": "#..# #..# #### #..# #..#",
    "I": "### .#. .#. .#. ###",
    "J": "..## ...# ...# #..# .##.",
    "K": "#..# #.#. ##.. #.#. #..#",
    "L": "#... #... #... #... ####",
    "M": "#...# ##.## #.#.# #...# #...#",
    "N": "#..# ##.# #.## #..# #..#",
    "O": ".##. #..# #..# #..# .##.",
    "P": "###. #..# ###. #... #...",
    "Q": ".##. #..# #..# .##. ...#",
    "R": "###. #..# ###. #.#. #..#",
    "S": ".### #... .##. ...# ###.",
    "T": "##### ..#.. ..#.. ..#.. ..#..",
    "U": "#..# #..# #..# #..# .##.",
    "V": "#...# #...# #...# .#.#. ..#..",
    "W": "#...# #...# #.#.# ##.## #...#",
    "X": "#...# .#.#. ..#.. .#.#. #...#",
    "Y": "#...# .#.#. ..#.. ..#.. ..#..",
    "Z": "#### ..#. .#.. #... ####",
    "0": ".##. #.## #..# ##.# .##.",
    "1": ".#. ##. .#. .#. ###",
    "2": "###. ...# .##. #... ####",
    "3": "###. ...# .##. ...# ###.",
    "4": "#..# #..# #### ...# ...#",
    "5": "#### #... ###. ...# ###.",
    "6": ".##. #... ###. #..# .##.",
    "7": "#### ...# ..#. .#.. .#..",
    "8": ".##. #..# .##. #..# .##.",
    "9": ".##. #..# .### ...# .##.",
    "/": "...# ..#. ..#. .#.. #...",
    "-": "... ... ### ... ...",
}


def big_lines(call: str, width: int) -> list[str]:
    """``call`` in large letters, each pixel two cells wide where that fits, else one; plain text where neither does."""
    glyphs = [_GLYPHS.get(character, "").split() for character in call.upper()]
    if not glyphs or not all(glyphs):
        return [elide(call, width)]
    rows = [" ".join(glyph[at] for glyph in glyphs).replace(".", " ") for at in range(HEIGHT)]
    scale = 2 if 2 * len(rows[0]) <= width else 1
    if scale * len(rows[0]) > width:
        return [elide(call, width)]
    return ["".join(("█" if pixel == "#" else " ") * scale for pixel in row) for row in rows]
