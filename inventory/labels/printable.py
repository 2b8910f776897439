"""Text as the fonts that every PDF reader has can print it."""

import unicodedata

# The letters of the built-in PDF fonts: Windows-1252, which has all of Western Europe.
ENCODING = "cp1252"

# Letters that are no base letter with an accent. Greek as in ISO 843, Cyrillic and the rest as is usual in
# English: common practice, no source.
_SPELLINGS = (
    "ł=l đ=d ħ=h ı=i ŋ=ng ŧ=t ə=e ĸ=k "
    "α=a β=v γ=g δ=d ε=e ζ=z η=i θ=th ι=i κ=k λ=l μ=m ν=n ξ=x ο=o π=p ρ=r σ=s ς=s τ=t υ=y φ=f χ=ch ψ=ps ω=o "
    "а=a б=b в=v г=g ґ=g д=d ђ=dj е=e ё=yo є=ye ж=zh з=z и=i і=i ї=yi й=y ј=j к=k л=l љ=lj м=m н=n њ=nj о=o "
    "п=p р=r с=s т=t ћ=c у=u ў=u ф=f х=kh ц=ts ч=ch џ=dz ш=sh щ=shch ъ= ы=y ь= э=e ю=yu я=ya"
)
_SPELLED = dict(pair.split("=") for pair in _SPELLINGS.split())
_NOT_PRINTABLE = "?"


def printable(text: str) -> str:
    """Return ``text`` in letters that the built-in fonts have, near to what it was.

    What they have stays. Otherwise an accent is dropped, and Greek and Cyrillic are spelled in Latin letters.
    Each run of anything else becomes one question mark.

    >>> printable("Écume"), printable("Łosoś"), printable("Κύμα"), printable("Щука"), printable("赤い糸 7")
    ('Écume', 'Losos', 'Kyma', 'Shchuka', '? 7')
    """
    letters: list[str] = []
    for letter in unicodedata.normalize("NFC", text):
        near = _near(letter)
        if near != _NOT_PRINTABLE or letter == near or letters[-1:] != [near]:
            letters.append(near)
    return " ".join("".join(letters).split())


def _near(letter: str) -> str:
    if _has(letter):
        return letter
    bare = "".join(each for each in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(each))
    for spelled in (letter, bare):
        if spelled.lower() in _SPELLED:
            near = _SPELLED[spelled.lower()]
            return near if spelled.islower() else near.capitalize()
    if letter.isspace() or unicodedata.combining(letter):
        return " " if letter.isspace() else ""
    return bare if bare and _has(bare) else _NOT_PRINTABLE


def _has(text: str) -> bool:
    try:
        encoded = text.encode(ENCODING)
    except UnicodeEncodeError:
        return False
    return all(byte >= 0x20 and byte != 0x7F for byte in encoded)
