"""Words of a plan that its page shares with the terminal."""

from collections.abc import Sequence

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_
from planning.compute.picture.thread_bar import bar_of
from planning.compute.picture.turns import TALL, turns_drawn
from planning.compute.search.proof import Proof
from planning.compute.spools.turns import SpoolUse
from planning.plan import words
from planning.plan.pins import written_block
from planning.run import told
from planning.run.sheet import Changing

register = template.Library()


@register.filter
def spool_goes_on(use: SpoolUse) -> str:
    """Return where inside its first piece a spool goes on; empty where it goes on before the piece."""
    return words.spool_goes_on(use)


@register.filter
def block_called(at_block: tuple[int, int], designs: Sequence[object]) -> str:
    """Return what the block of a (design, number) is called: its number, after the design's where there are several."""
    return written_block(at_block, several=len(designs) > 1)


@register.filter
def note_said(note: str) -> str:
    """Return the note of an event of a run in the reader's language, as far as the program wrote it."""
    return told.note_said(note)


@register.filter
def layer_said(name: str) -> str:
    """Return the name of a layer, as data have it, in the reader's language."""
    return words.layer_said(name)


@register.filter
def piece_said(label: str) -> str:
    """Return what a piece of stabilizer is cut for, as data have it, in the reader's language."""
    return words.piece_said(label)


@register.filter
def method_said(method: str) -> str:
    """Return how a layer is laid, as data have it, in the reader's language."""
    return words.method_said(method)


PROOF_WORDS = {
    Proof.LEAST: N_("least"),
    Proof.BEST_SEEN: N_("best of those looked at"),
    Proof.IN_TIME: N_("good enough in the time"),
}


@register.filter
def proof_words(proof: str) -> str:
    """Return how far a search is proven, in the reader's words; empty where nothing was searched."""
    return _(PROOF_WORDS[Proof(proof)]) if proof else ""


# A bobbin and a roll, where no colour is asked for.
THINGS = {
    "bobbin": mark_safe(
        '<circle cx="22" cy="18" r="13" fill="#fbfbf8" stroke="#17211f"/><circle cx="22" cy="18" r="4.5" fill="none" '
        'stroke="#17211f"/><path d="M48 6h4v24h-4zM66 6h4v24h-4z" fill="#6a6a6a"/>'
        '<path d="M52 9h14v18H52z" fill="#fbfbf8" stroke="#17211f" stroke-width=".7"/>'
    ),
    "roll": mark_safe(
        '<path d="M18 7h48a5 11 0 0 1 0 22H18" fill="#fbfbf8" stroke="#17211f"/>'
        '<ellipse cx="18" cy="18" rx="5" ry="11" fill="#fbfbf8" stroke="#17211f"/>'
        '<ellipse cx="18" cy="18" rx="1.6" ry="3.6" fill="#6a6a6a"/>'
    ),
}


@register.simple_tag
def thing_drawn(what: str) -> SafeString:
    """Return a bobbin or a roll of stabilizer on neutral grey; its name stands beside it."""
    return format_html(
        '<svg class="pair" viewBox="0 0 82 36" aria-hidden="true">'
        '<path d="M0 0H82V36H0z" fill="#bababa"/>{}</svg>',
        THINGS[what],
    )


@register.simple_tag
def bar_key(part: str) -> SafeString:
    """Return a piece of a thread bar as its key: sure, perhaps or missing."""
    return format_html(
        '<svg class="bar-key" viewBox="0 0 44 20" aria-hidden="true">{}</svg>',
        mark_safe(bar_of(part)),
    )


@register.simple_tag
def changing_drawn(changing: Changing, pieces: int, now: int | None) -> SafeString:
    """Return where another spool or bobbin goes on in a run of ``pieces``, and the piece that is next."""
    # Only numbers and a colour of six digits are in it: nothing that a person typed.
    drawn = turns_drawn(pieces=pieces, changes=changing.changes, now=now, colour=changing.colour)
    return format_html(
        '<svg class="turns" width="100%" height="{}" aria-hidden="true">{}</svg>',
        TALL,
        mark_safe(drawn),
    )
