"""What a plan did not consider, and whether its answer would be another with it."""

from collections.abc import Callable, Iterator, Sequence

from inventory.compute.spoken import _, ngettext
from inventory.models import Reservation
from planning.compute.batch.asked import Shelf
from planning.compute.batch.needle_thread import JudgedThreads, PlannedThread
from planning.compute.batch.plan import BatchPlan, is_worse, worst_verdict
from planning.plan.asked import JobAsked
from planning.plan.shelf import shelf as read_shelf

_REASONS = ("weight", "fibre", "set aside")


def what_leaving_out_changes(
    answer: BatchPlan, asked: JobAsked, *, judged: Callable[[Shelf, bool], JudgedThreads]
) -> list[str]:
    """Return a sentence for each reason without which the verdict on the threads would be better.

    ``judged`` tells how the threads of the same question stand against another shelf, and whether fibres may mix for
    once. Nothing is read where there is enough.
    """
    verdict = _worst([(thread.verdict, thread.colour_verdict) for thread in answer.threads])
    if verdict == "enough":
        return []
    said = list(_unknown_lengths(answer))
    for why in _REASONS:
        count = sum(each.count for each in answer.left_out if each.why == why)
        is_asked_of_one_fibre = why == "fibre" and _names_a_fibre(answer, asked)
        if not count and not is_asked_of_one_fibre:
            continue
        then = _worst(judged(_wider(asked, why), why == "fibre").verdicts)
        if is_worse(verdict, than=then) and is_asked_of_one_fibre:
            # What would do may be thread that other colours have already.
            said.append(
                _("If one piece might mix fibres, the thread would be {verdict}.").format(verdict=_(then))
            )
        elif is_worse(verdict, than=then):
            said.append(_with_what_is_left_out(why, count).format(number=count, verdict=_(then)))
    return said


def _with_what_is_left_out(why: str, count: int) -> str:
    return {
        "weight": ngettext(
            "With the one spool left out for their weight the thread would be {verdict}.",
            "With the {number} spools left out for their weight the thread would be {verdict}.",
            count,
        ),
        "fibre": ngettext(
            "With the one spool left out for their fibre the thread would be {verdict}.",
            "With the {number} spools left out for their fibre the thread would be {verdict}.",
            count,
        ),
        "set aside": ngettext(
            "With the one spool left out because other jobs hold them the thread would be {verdict}.",
            "With the {number} spools left out because other jobs hold them the thread would be {verdict}.",
            count,
        ),
    }[why]


def _worst(threads: Sequence[tuple[str, str]]) -> str:
    return worst_verdict("short" if colour == "off colour" else stock for stock, colour in threads)


def _names_a_fibre(answer: BatchPlan, asked: JobAsked) -> bool:
    """Whether a block names a shade, for which no other fibre stands where the rules let none cross."""
    if asked.rules.fibre or asked.rules.may_mix_fibres:
        return False
    return any(block.block.fibre for block in answer.blocks)


def _wider(asked: JobAsked, why: str) -> Shelf:
    """Return the shelf as it would be read if nothing were left out for this one reason."""
    own: dict[int, int] | None = None
    if why == "set aside":
        own = {}
        for item, quantity in Reservation.objects.values_list("item_id", "quantity"):
            own[item] = own.get(item, 0) + quantity
    return read_shelf(
        fibre="" if why == "fibre" else asked.rules.fibre,
        weight_label="" if why == "weight" else asked.rules.weight_label,
        bobbin_style=asked.machine.bobbin_style,
        holder=asked.holder,
        own=own,
    )


def _unknown_lengths(answer: BatchPlan) -> Iterator[str]:
    """Yield for each thread that is not surely enough which of its spools nobody knows the length of."""
    for thread in answer.threads:
        labels = _of_unknown_length(thread) if thread.verdict != "enough" else []
        if labels:
            assert thread.choice.shade is not None
            yield _(
                "Nobody knows how much is on {labels} of {code}; weighing may settle whether it is enough."
            ).format(labels=", ".join(labels), code=thread.choice.shade.code)


def _of_unknown_length(thread: PlannedThread) -> list[str]:
    shade = thread.choice.shade
    return [spool.label for spool in shade.spools if not spool.is_known] if shade else []
