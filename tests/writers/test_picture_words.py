"""Words under a picture stay within it; the lengths are Pillow's own."""

import pytest
from PIL import ImageFont

from carvegen.writers.formats.picture_words import rows_of_words

WORDS = "jetty, paths. Seen from the side of the cuts, as the block lies on the machine. Broken: ways between cuts."


@pytest.mark.parametrize("room", [90, 150, 400, 2000])
def test_rows_keep_to_the_room_and_lose_no_word(room):
    font = ImageFont.load_default(size=12)
    rows = rows_of_words(WORDS, font, room)
    assert " ".join(" ".join(rows).split()) == WORDS
    assert max(font.getlength(row) for row in rows) <= room
    first = [row.split()[0] for row in rows[1:]]
    assert all(
        font.getlength(f"{row} {word}") > room for row, word in zip(rows[:-1], first, strict=True)
    )  # none ends too soon


def test_a_word_longer_than_the_room_has_a_row_of_its_own():
    assert rows_of_words("a mooring-post stands", ImageFont.load_default(size=12), 20)[1].strip() == "mooring-post"
