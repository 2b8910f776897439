"""Test pieces of a run: which waits for a verdict, and what the verdict leaves for the next time."""

from django.utils import timezone

from planning.facts.layers import recipe_in_words
from planning.models import RunEvent, StitchOutNote
from planning.run.standing import TICKS, Run

# How the back looked, as a note keeps it.
SHOWING = {"more": "more bobbin showing", "thirds": "equal thirds", "less": "less bobbin showing"}
VERDICTS = {
    RunEvent.TestVerdict.GO_ON: StitchOutNote.Verdict.GOOD,
    RunEvent.TestVerdict.CHANGE: StitchOutNote.Verdict.CHANGE,
}


def test_to_judge(run: Run) -> int | None:
    """Return the position of the last test that is stitched and that nobody has judged, None where there is none.

    A verdict is of the test as it was stitched then: one that was taken back and stitched again waits for another.
    """
    last = max((position for position in run.done if position <= run.promise.tests), default=0)
    is_judged = False
    for event in run.events:
        if event.position == last and event.kind in (*TICKS, RunEvent.Kind.TEST):
            is_judged = event.kind == RunEvent.Kind.TEST
    return last if last and not is_judged else None


def test_wants_a_change(run: Run) -> RunEvent | None:
    """Return the verdict that asks for a change, where no later test said to go on."""
    verdicts = [event for event in run.events if event.kind == RunEvent.Kind.TEST]
    last = verdicts[-1] if verdicts else None
    return last if last and last.test_verdict == RunEvent.TestVerdict.CHANGE else None


def keep_test_notes(run: Run, event: RunEvent) -> list[StitchOutNote]:
    """Return the notes of the designs of ``run`` on its fabric that the verdict of ``event`` leaves; none without one.

    They say what the test was stitched with: layers, needle, speed, and how the back looked when the tension was last
    changed.
    """
    fabric = run.job.fabric
    if fabric is None:
        return []
    told = [each for each in run.events if each.kind == RunEvent.Kind.TENSION]
    ranges = [record.shade.range for record in run.records if record.shade]
    borne = [fabric.most_stitches_per_minute, *(each.most_stitches_per_minute for each in ranges)]
    designs = {placed.design_id: placed.design for placed in run.job.placed.select_related("design")}
    return [
        StitchOutNote.objects.create(
            design=design,
            stitched_on=timezone.localtime(event.at).date(),
            fabric=fabric.name,
            known_fabric=fabric,
            recipe=recipe_in_words(fabric)[:300],
            density_per_cm2=design.density_per_cm2,
            verdict=VERDICTS[RunEvent.TestVerdict(event.test_verdict)],
            words=event.note,
            needle=fabric.needle,
            stitches_per_minute=min([run.machine.stitches_per_minute, *filter(None, borne)]),
            # Shown in each reader's language, so it is kept as it is written.
            tension=SHOWING[told[-1].showing] if told else "",
            event=event,
            by=event.by,
        )
        for design in designs.values()
    ]
