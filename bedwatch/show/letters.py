"""Large letters for the one line that is read from across the shop. Our own: seven dots high, mostly four wide."""

from __future__ import annotations

from bedwatch.show.look import Look

_GLYPHS = {
    "A": ".##. #..# #..# #### #..# #..# #..#",
    "B": "###. #..# #..# ###. #..# #..# ###.",
    "C": ".##. #..# #... #... #... #..# .##.",
    "D": "###. #..# #..# #..# #..# #..# ###.",
    "E": "#### #... #... ###. #... #... ####",
    "F": "#### #... #... ###. #... #... #...",
    "G": ".##. #..# #... #.## #..# #..# .##.",
    "H": "#..# #..# #..# #### #..# #..# #..#",
    "I": "### .#. .#. .#. .#. .#. ###",
    "J": "..## ...# ...# ...# ...# #..# .##.",
    "K": "#..# #.#. ##.. #... ##.. #.#. #..#",
    "L": "#... #... #... #... #... #... ####",
    "M": "#...# ##.## #.#.# #.#.# #...# #...# #...#",
    "N": "#..# ##.# ##.# #.## #.## #..# #..#",
    "O": ".##. #..# #..# #..# #..# #..# .##.",
    "P": "###. #..# #..# ###. #... #... #...",
    "Q": ".##. #..# #..# #..# #..# #.#. .#.#",
    "R": "###. #..# #..# ###. ##.. #.#. #..#",
    "S": ".##. #..# #... .##. ...# #..# .##.",
    "T": "##### ..#.. ..#.. ..#.. ..#.. ..#.. ..#..",
    "U": "#..# #..# #..# #..# #..# #..# .##.",
    "V": "#...# #...# #...# #...# .#.#. .#.#. ..#..",
    "W": "#...# #...# #...# #.#.# #.#.# ##.## #...#",
    "X": "#...# #...# .#.#. ..#.. .#.#. #...# #...#",
    "Y": "#...# #...# .#.#. ..#.. ..#.. ..#.. ..#..",
    "Z": "#### ...# ..#. ..#. .#.. #... ####",
    "0": ".#. #.# #.# #.# #.# #.# .#.",
    "1": ".#. ##. .#. .#. .#. .#. ###",
    "2": ".##. #..# ...# ..#. .#.. #... ####",
    "3": "###. ...# ...# .##. ...# ...# ###.",
    "4": "#..# #..# #..# #### ...# ...# ...#",
    "5": "#### #... #... ###. ...# ...# ###.",
    "6": ".##. #... #... ###. #..# #..# .##.",
    "7": "#### ...# ...# ..#. ..#. .#.. .#..",
    "8": ".##. #..# #..# .##. #..# #..# .##.",
    "9": ".##. #..# #..# .### ...# ...# .##.",
    "-": "... ... ... ### ... ... ...",
    "_": ".... .... .... .... .... .... ####",
    ".": ". . . . . . #",
    " ": ".. .. .. .. .. .. ..",
    "▲": "..... ..... ..#.. .###. .###. ##### #####",
    "▼": "##### ##### .###. .###. ..#.. ..... .....",
    "!": "# # # # # . #",
    "=": ".... .... #### .... #### .... ....",
    "~": "..... ..... .#..# #.#.# #..#. ..... .....",
    "%": "##..# ##..# ...#. ..#.. .#... #..## #..##",
    "?": ".##. #..# ...# ..#. ..#. .... ..#.",
}
_HALVES = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def big(words: str, width: int, look: Look, *, double: bool = False) -> list[str] | None:
    """The words in large letters, or None when they do not fit or have a character there is no letter for.

    With half blocks four rows, doubled seven; in ASCII seven rows of "#".
    """
    rows = _dots(words.upper())
    if rows is None:
        return None
    if double:
        rows = ["".join(dot * 2 for dot in row) for row in rows]
    if max(len(row) for row in rows) > width:
        return None
    if double or not look.unicode:
        ink = "█" if look.unicode else "#"
        return ["".join(ink if dot == "#" else " " for dot in row).rstrip() for row in rows]
    rows = [*rows, "." * len(rows[0])]
    return [
        "".join(_HALVES[a == "#", b == "#"] for a, b in zip(rows[i], rows[i + 1], strict=True)).rstrip()
        for i in range(0, len(rows), 2)
    ]


def _dots(words: str) -> list[str] | None:
    if not words or any(ch not in _GLYPHS for ch in words):
        return None
    letters = [_GLYPHS[ch].split() for ch in words]
    return [".".join(letter[row] for letter in letters) for row in range(7)]
