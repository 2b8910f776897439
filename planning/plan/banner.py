"""A plan's answer in a word and its cause, one sentence and four facts: what stands above all else on its page."""

from collections.abc import Sequence
from dataclasses import dataclass

from planning.compute.batch.lasting import GRAVE, Lasting, lasting_of
from planning.compute.batch.plan import BatchPlan
from planning.plan.words import asked_name

WORDS = {"short": "Short", "off colour": "No match", "unknown": "Not known", "tight": "Tight"}
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
        return Banner("unknown", "Too big: no hoop of this machine holds it", plan.too_big, rows)
    if not deciding:
        return Banner(plan.verdict, f"Enough for all {plan.pieces.total} pieces", f"{rest}.", rows)
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
        return "bobbins"
    if each.kind == "stabilizer":
        return plan.stabilizer[each.place].kind
    thread = plan.threads[each.place]
    shade = thread.choice.shade
    if shade and thread.choice.near_enough:
        return shade.name or f"{shade.maker} {shade.code}"
    return asked_name(thread)


def _sign(plan: BatchPlan, word: str) -> str:
    return "unknown" if word == "bare" else word if word in WORDS else plan.verdict


def _headline(plan: BatchPlan, gravest: Sequence[Lasting]) -> str:
    first, more = gravest[0], f" and {len(gravest) - 1} more" if len(gravest) > 1 else ""
    name = called(plan, first)
    if first.word == "bare":
        return f"Choose {_count(len(gravest), 'colour')}"
    if first.word == "off colour":
        return f"No match: nothing near {name}{more}"
    if first.word == "short":
        if not (first.perhaps or first.reach):
            return f"Short: no {name} on the shelf{more}"
        last = "last" if first.kind == "bobbins" else "lasts"
        return f"Short: {name} {last} {_count(first.sure, 'piece')}{', as' + more[4:] + ' are short' if more else ''}"
    return f"{WORDS[first.word]}: {name}{more}"


def _lasts(gravest: Sequence[Lasting]) -> str:
    least = gravest[0]
    if least.word == "bare":
        return "The file names no colours."
    if least.word == "off colour":
        return ""
    if least.word == "unknown":
        return "Nobody has said how much of it there is."
    if least.perhaps >= least.total:
        return f"Sure for {least.sure} of the {least.total} to stitch, likely for all."
    if not least.perhaps:
        return ""
    return f"Surely {least.sure}, perhaps {least.perhaps} of the {least.total} to stitch."


def _others(plan: BatchPlan, others: Sequence[Lasting]) -> list[str]:
    """Return a sentence for each other word: what it is said of."""
    said = []
    for word in GRAVE[:-1]:
        names = list(dict.fromkeys(called(plan, each) for each in others if each.word == word))
        if not names:
            continue
        told = "Without a colour" if word == "bare" else WORDS[word]
        shown = _listed(
            names if len(names) <= MOST_NAMED else [*names[:MOST_NAMED], f"{len(names) - MOST_NAMED} more"]
        )
        said.append(f"{told}: {shown}.")
    return said


def _enough_in_words(plan: BatchPlan, enough: Sequence[Lasting]) -> str:
    """Return what is enough for all pieces; empty where nothing is."""
    threads = [each for each in enough if each.kind == "thread"]
    parts = []
    if threads:
        all_of_them = len(threads) == len(plan.threads)
        parts.append("every colour" if all_of_them else _count(len(threads), "colour"))
    parts += ["bobbins"] if any(each.kind == "bobbins" for each in enough) else []
    parts += ["stabilizer"] if any(each.kind == "stabilizer" for each in enough) else []
    if not parts:
        return ""
    listed = _listed(parts)
    one = len(parts) == 1 and (parts[0] in ("every colour", "stabilizer") or parts[0].startswith("1 "))
    return f"{listed[:1].upper()}{listed[1:]} {'is' if one else 'are'} enough for the whole batch"


def _also(rest: str) -> str:
    return f"{rest}." if rest else ""


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
