"""A plan's answer in a word and its cause, one sentence and four facts: what stands above all else on its page."""

from collections.abc import Sequence
from dataclasses import dataclass

from inventory.compute.spoken import N_, _, listed, ngettext
from planning.compute.batch.lasting import GRAVE, Lasting, lasting_of
from planning.compute.batch.plan import BatchPlan
from planning.plan.words import asked_name

WORDS = {"short": N_("Short"), "off colour": N_("No match"), "unknown": N_("Not known"), "tight": N_("Tight")}
MOST_NAMED = 3


@dataclass(frozen=True)
class Banner:
    """``sign`` is the verdict that its shape shows; ``sentence`` what it hangs on."""

    sign: str
    headline: str
    sentence: str
    rows: tuple[Lasting, ...]

    @property
    def deciding(self) -> tuple[Lasting, ...]:
        """What is not enough, the gravest first."""
        found = [each for each in self.rows if each.decides]
        return tuple(sorted(found, key=lambda each: (GRAVE.index(each.word), each.sure)))


def banner_of(plan: BatchPlan) -> Banner:
    """Return the answer of a plan in a word, with its cause."""
    rows = tuple(lasting_of(plan))
    made = Banner(plan.verdict, "", "", rows)
    deciding = made.deciding
    rest = _enough_in_words(plan, [each for each in rows if not each.decides])
    if plan.too_big:
        return Banner("unknown", _("Too big: no hoop of this machine holds it"), plan.too_big, rows)
    if not deciding:
        enough = ngettext(
            "Enough for the one piece", "Enough for all {pieces} pieces", plan.pieces.total
        ).format(pieces=plan.pieces.total)
        return Banner(plan.verdict, enough, f"{rest}.", rows)
    gravest = [each for each in deciding if each.word == deciding[0].word]
    return Banner(
        _sign(plan, gravest[0].word),
        _headline(plan, gravest),
        " ".join(filter(None, [_lasts(gravest), *_others(plan, deciding[len(gravest) :]), _also(rest)])),
        rows,
    )


def called(plan: BatchPlan, each: Lasting) -> str:
    """Return what a row of the plan is called where it stands in a sentence."""
    if each.kind == "bobbins":
        return _("bobbins")
    if each.kind == "stabilizer":
        return _(plan.stabilizer[each.place].kind)
    thread = plan.threads[each.place]
    shade = thread.choice.shade
    if shade and thread.choice.near_enough:
        return shade.name or f"{shade.maker} {shade.code}"
    return asked_name(thread)


def _sign(plan: BatchPlan, word: str) -> str:
    return "unknown" if word == "bare" else word if word in WORDS else plan.verdict


def _headline(plan: BatchPlan, gravest: Sequence[Lasting]) -> str:
    first, number = gravest[0], len(gravest) - 1
    name = called(plan, first)
    if first.word == "bare":
        return ngettext("Choose {number} colour", "Choose {number} colours", number + 1).format(
            number=number + 1
        )
    more = _(" and {number} more").format(number=number) if number else ""
    if first.word == "off colour":
        return _("No match: nothing near {name}").format(name=name) + more
    if first.word == "short":
        if not (first.perhaps or first.reach):
            return _("Short: no {name} on the shelf").format(name=name) + more
        pieces = first.sure
        said = (
            ngettext("Short: {name} last {pieces} piece", "Short: {name} last {pieces} pieces", pieces)
            if first.kind == "bobbins"
            else ngettext("Short: {name} lasts {pieces} piece", "Short: {name} lasts {pieces} pieces", pieces)
        ).format(name=name, pieces=pieces)
        return said + (_(", and {number} more are short").format(number=number) if number else "")
    return f"{_(WORDS[first.word])}: {name}{more}"


def _lasts(gravest: Sequence[Lasting]) -> str:
    least = gravest[0]
    if least.word == "bare":
        return _("The file names no colours.")
    if least.word == "off colour":
        return ""
    if least.word == "unknown":
        return _("Nobody has said how much of it there is.")
    if least.perhaps >= least.total:
        return _("Sure for {sure} of the {total} to stitch, likely for all.").format(
            sure=least.sure, total=least.total
        )
    if not least.perhaps:
        return ""
    return _("Surely {sure}, perhaps {perhaps} of the {total} to stitch.").format(
        sure=least.sure, perhaps=least.perhaps, total=least.total
    )


def _others(plan: BatchPlan, others: Sequence[Lasting]) -> list[str]:
    """Return a sentence for each other word: what it is said of."""
    said = []
    for word in GRAVE[:-1]:
        names = list(dict.fromkeys(called(plan, each) for each in others if each.word == word))
        if not names:
            continue
        told = _("Without a colour") if word == "bare" else _(WORDS[word])
        more = _("{number} more").format(number=len(names) - MOST_NAMED)
        shown = listed(names if len(names) <= MOST_NAMED else [*names[:MOST_NAMED], more])
        said.append(f"{told}: {shown}.")
    return said


def _enough_in_words(plan: BatchPlan, enough: Sequence[Lasting]) -> str:
    """Return what is enough for all pieces; empty where nothing is."""
    threads = [each for each in enough if each.kind == "thread"]
    parts = []
    if threads:
        number, all_of_them = len(threads), len(threads) == len(plan.threads)
        counted = ngettext("{number} colour", "{number} colours", number).format(number=number)
        parts.append(_("every colour") if all_of_them else counted)
    parts += [_("bobbins")] if any(each.kind == "bobbins" for each in enough) else []
    parts += [_("stabilizer")] if any(each.kind == "stabilizer" for each in enough) else []
    if not parts:
        return ""
    what = listed(parts)
    only_bobbins = not threads and len(parts) == 1 and any(each.kind == "bobbins" for each in enough)
    some = bool(threads) and 1 < len(threads) < len(plan.threads)
    are_many = len(parts) > 1 or only_bobbins or some
    said = ngettext(
        "{what} is enough for the whole batch", "{what} are enough for the whole batch", 2 if are_many else 1
    )
    return said.format(what=f"{what[:1].upper()}{what[1:]}")


def _also(rest: str) -> str:
    return f"{rest}." if rest else ""
