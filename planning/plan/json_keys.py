"""Every key of the JSON that commands answer with, and what it means: the handbook's page, and what is tested.

A name such as ``threads[].colour.word`` is a path: ``[]`` stands for each of a list.
"""

from inventory.compute.spoken import N_

PLAN: dict[str, str] = {
    "verdict": N_("The worst of all: enough, tight, unknown or short."),
    "strictness": N_("How near colours must come: picture or brand."),
    "colour_limit": N_("The ΔE00 beyond which a thread is off the colour that a person asked for."),
    "mean_delta_e_00": N_("The mean difference over the thread that is stitched; of wishes, from the gamut."),
    "colour_verdict": N_("off colour where any thread is, else near."),
    "pieces": N_("Pieces ordered."),
    "pieces_to_stitch": N_("Pieces ordered, to test, and that may spoil."),
    "test_pieces": N_("Pieces to test."),
    "spoiled_allowed": N_("Pieces that may spoil."),
    "copies_per_hooping": N_("Pieces stitched in one hooping."),
    "hoopings": N_("How often something is hooped."),
    "designs[]": N_("The designs of a piece, in order; other keys count them from 0."),
    "designs[].name": N_("What the design is called."),
    "designs[].sha256": N_("The SHA-256 of its stitch file."),
    "designs[].format": N_("The format of its file."),
    "designs[].width_mm": N_("Its width."),
    "designs[].height_mm": N_("Its height."),
    "designs[].stitches": N_("Its stitches."),
    "designs[].trims": N_("Its trims, inferred by the machine's rule where the format has none."),
    "designs[].stops": N_("Its stops."),
    "designs[].warnings[]": N_("What a person should know of the file."),
    "designs[].graded_warnings[]": N_("The same, each with its grade."),
    "designs[].graded_warnings[].grade": N_("look before you sew, or for your information."),
    "designs[].graded_warnings[].text": N_("The warning."),
    "blocks[]": N_("The colour blocks of all designs."),
    "blocks[].design": N_("The number of its design, from 0."),
    "blocks[].block": N_("Its number in the design, from 1."),
    "blocks[].requested.hex": N_("The colour asked for; null where none is."),
    "blocks[].requested.name": N_("What that colour is called in the file or by a person."),
    "blocks[].stitches": N_("Its stitches."),
    "blocks[].penetrations": N_("How often the needle goes in."),
    "blocks[].trims": N_("Its trims."),
    "blocks[].drawn_mm": N_("The path drawn on the cloth."),
    "blocks[].needle_mm_per_piece": N_(
        "In plan: needle thread of one piece in the thread chosen, with the use factor "
        "and its share of thread changes. In read_design it is another quantity: see there."
    ),
    "blocks[].bobbin_mm_per_piece": N_(
        "In plan: bobbin thread of one piece, with the bobbin's use factor. In "
        "read_design it is another quantity: see there."
    ),
    "blocks[].needle_used_mm_per_piece": N_(
        "The same as needle_mm_per_piece of plan, by a name that says so."
    ),
    "blocks[].bobbin_used_mm_per_piece": N_(
        "The same as bobbin_mm_per_piece of plan, by a name that says so."
    ),
    "threads[]": N_("The threads to put on, in the order in which they are first stitched."),
    "threads[].shade": N_("The shade chosen; null where none is."),
    "threads[].pinned": N_("Whether a person said which shade it is."),
    "threads[].remembered": N_("Whether that was said once, for a colour of files."),
    "threads[].runners_up[]": N_("The next nearest shades."),
    "threads[].runners_up[].shade": N_("The shade."),
    "threads[].runners_up[].delta_e_00": N_("How far it is from the colour asked for."),
    "threads[].requested.hex": N_("The colour asked for; null where none is."),
    "threads[].requested.name": N_("What it is called."),
    "threads[].blocks[]": N_("Its blocks, each as [design from 0, block from 1]."),
    "threads[].delta_e_00": N_("CIEDE2000 between the shade and the colour as it was asked for."),
    "threads[].delta_e_00_from": N_("The least that it may be, 95 times in a hundred."),
    "threads[].delta_e_00_to": N_("The most."),
    "threads[].grey_scale_grade": N_("The grade of the difference by ISO 105-A05."),
    "threads[].colour_verdict": N_("near, off colour, or unknown."),
    "threads[].colour.source": N_(
        "Where the colour comes from: rgb or palette (the file's), person, shade, sample, list; "
        "null for none."
    ),
    "threads[].colour.is_wish": N_("Whether it was judged as a file's wish, and not as a demand."),
    "threads[].colour.word": N_(
        "How the thread stands for it: near, as near as thread comes, nearest of the shades you "
        "know, something nearer can be bought, no thread of that colour; for a demand near or off colour; "
        "chosen by you, remembered, none asked."
    ),
    "threads[].colour.text": N_("The same as a sentence."),
    "threads[].colour.wished": N_(
        "The colour of thread that the wish comes to, with hex and name; null for a demand."
    ),
    "threads[].colour.wished.hex": N_("Its colour."),
    "threads[].colour.wished.name": N_("Its plain name."),
    "threads[].colour.delta_e_00": N_("CIEDE2000 from there to the shade."),
    "threads[].colour.given_up_delta_e_00": N_("How much nearer the nearest of all known threads is."),
    "threads[].colour.known": N_("How many threads are known: owned, or sold by somebody."),
    "threads[].colour.nearer": N_("A thread worth buying, with id, thread and supplier; null for none."),
    "threads[].colour.nearer.id": N_("Its shade."),
    "threads[].colour.nearer.thread": N_("What it is called."),
    "threads[].colour.nearer.supplier": N_("Who sells it."),
    "threads[].colour.enough_metres[]": N_(
        "For a block without a colour: the owned shades that surely have enough."
    ),
    "threads[].needed_mm": N_("What the batch takes, as likely more as less."),
    "threads[].needed_sigma_mm": N_("One standard deviation of that."),
    "threads[].free_mm": N_("What is free of the shade, whatever its colour; 0 where it is another colour."),
    "threads[].free_sigma_mm": N_("One standard deviation of that."),
    "threads[].p_enough": N_("How likely it is that there is enough."),
    "threads[].verdict": N_("enough, tight, short, or unknown where nothing was asked or nothing is known."),
    "threads[].reason": N_("Why it is short or unknown, where that is no matter of length."),
    "threads[].pieces_possible": N_("Pieces that can surely be stitched."),
    "threads[].missing_mm": N_("What would make it sure; 0 for a block without a colour."),
    "threads[].spools[]": N_("Which spool for which pieces."),
    "threads[].spools[].label": N_("The spool's label code."),
    "threads[].spools[].place": N_("Where it lies."),
    "threads[].spools[].from_piece": N_("Its first piece, from 1."),
    "threads[].spools[].to_piece": N_("Its last piece."),
    "threads[].spools[].needed_mm": N_("What those take."),
    "threads[].spools[].left_mm": N_("What is left then."),
    "threads[].spools[].lot": N_("Its dye lot."),
    "threads[].spools[].from_block": N_("Where it goes on inside its first piece, as [design, block]."),
    "threads[].spools[].inside_block": N_("How far into that block."),
    "bobbins.thread": N_("The bobbin thread."),
    "bobbins.needed_mm": N_("What the batch takes."),
    "bobbins.count": N_("Full bobbins it takes."),
    "bobbins.owned": N_("Full bobbins on the shelf."),
    "bobbins.verdict": N_("As of threads."),
    "bobbins.p_enough": N_("How likely it is that they do."),
    "bobbins.changes[]": N_("Where a bobbin is changed."),
    "bobbins.changes[].piece": N_("In which piece, from 1."),
    "bobbins.changes[].design": N_("Before a block of this design, from 0."),
    "bobbins.changes[].block": N_("Before which block."),
    "bobbins.changes[].bobbin": N_("What goes in."),
    "bobbins.first": N_("What goes in at the start."),
    "bobbins.interruptions[]": N_("Where one runs out inside a block."),
    "bobbins.interruptions[].piece": N_("In which piece."),
    "bobbins.interruptions[].block": N_("In which block."),
    "bobbins.interruptions[].inside_block": N_("How far into it."),
    "bobbins.wind[]": N_("Spools to wind bobbins from."),
    "bobbins.wind[].label": N_("The spool."),
    "bobbins.wind[].bobbins": N_("How many."),
    "stabilizer[]": N_("The layers."),
    "stabilizer[].product": N_("What is cut."),
    "stabilizer[].kind": N_("Its kind."),
    "stabilizer[].method": N_("How it is laid."),
    "stabilizer[].pieces": N_("Pieces to cut."),
    "stabilizer[].cut_before": N_("Pieces cut already."),
    "stabilizer[].piece_mm[]": N_("Width and height of a piece."),
    "stabilizer[].from_offcuts": N_("Pieces out of offcuts and sheets."),
    "stabilizer[].roll_mm": N_("What comes off the roll."),
    "stabilizer[].bound_mm": N_("No plan takes less."),
    "stabilizer[].missing_pieces": N_("Pieces for which there is nothing."),
    "stabilizer[].free_mm": N_("What is free on rolls."),
    "stabilizer[].verdict": N_("As of threads."),
    "stabilizer[].holds_by": N_("sticky or fusible, where it holds by that."),
    "stabilizer[].comes_off": N_("water or heat, where its kind does not say it."),
    "stabilizer[].spray_mg": N_("Of a spray, what its coats take."),
    "stabilizer[].spray_free_mg": N_("What is free in cans."),
    "stabilizer[].spray_missing_mg": N_("What no can has."),
    "stabilizer[].cautions[]": N_("What to mind where it is used."),
    "applique[]": N_("Fabric pieces that are laid at the stops of a design; how many, in stabilizer."),
    "applique[].design": N_("The design, by its place in designs."),
    "applique[].name": N_("What it is called."),
    "applique[].fabric": N_("The fabric."),
    "applique[].piece_mm[]": N_("Width and height of its piece as it is cut."),
    "applique[].count": N_("Pieces on each piece that carries the design."),
    "applique[].stops[]": N_("Its lines, in sewing order."),
    "applique[].stops[].line": N_("placement, tack-down or cover."),
    "applique[].stops[].block": N_("The block."),
    "applique[].stops[].part": N_("Which part of it, between stops."),
    "applique[].stops[].at": N_("Both in words."),
    "applique[].stops[].called": N_("The line in words."),
    "applique[].stops[].do": N_("What a person does there."),
    "applique[].cautions[]": N_("What to mind there."),
    "time.machine_min": N_("Minutes the machine runs."),
    "time.hands_on_min": N_("Minutes of a person."),
    "time.thread_changes": N_("Changes of thread."),
    "time.start_by": N_("The day to start on; null where none is needed."),
    "time.material_by": N_("The day by which what is bought must be there; null where none is needed."),
    "cost.currency": N_("The workshop's currency."),
    "cost.material": N_("Material of the batch, without what has no price."),
    "cost.material_per_piece": N_("The same for one piece ordered."),
    "cost.time": N_("Machine and hands."),
    "cost.machine": N_("The machine's time."),
    "cost.hands_on": N_("A person's time."),
    "cost.total": N_("All of it."),
    "cost.total_per_piece": N_("All of it for one piece ordered."),
    "cost.tests_and_spoilage": N_("What of it is for tests and spoiled pieces."),
    "cost.unpriced[]": N_("What has no price, and is not in the sum."),
    "cost.by_quantity[]": N_("What other quantities would cost."),
    "cost.by_quantity[].pieces": N_("Pieces ordered."),
    "cost.by_quantity[].pieces_to_stitch": N_("Pieces to stitch then."),
    "cost.by_quantity[].machine_min": N_("Minutes of the machine."),
    "cost.by_quantity[].hands_on_min": N_("Minutes of a person."),
    "cost.by_quantity[].material": N_("Material."),
    "cost.by_quantity[].time": N_("Machine and hands."),
    "cost.by_quantity[].total": N_("All of it."),
    "cost.by_quantity[].per_piece": N_("All of it for one piece."),
    "left_out[]": N_("What of the shelf and the catalogue was not considered."),
    "left_out[].what": N_("What it is."),
    "left_out[].count": N_("How many."),
    "left_out[].why": N_("weight, fibre, purpose, tex, quantity, colour, set aside, retired or no seller."),
    "left_out[].labels[]": N_("Their label codes, where they carry any."),
    "too_big": N_("That no hoop of the machine holds it, and what would; null where one does."),
    "shopping[]": N_("What must be bought, beyond what is on order."),
    "shopping[].what": N_("What it is."),
    "shopping[].need_mm": N_("How much is missing."),
    "shopping[].need_mg": N_("Of a spray, how much is missing."),
    "shopping[].packs": N_("Packs to buy; 0 where nobody is known to sell it."),
    "shopping[].put_up": N_("What a pack is."),
    "shopping[].supplier": N_("From whom."),
    "shopping[].unit_price": N_("The price of a pack; null where nobody knows it."),
    "shopping[].total": N_("The price of all; null where nobody knows it."),
    "shopping[].order_by": N_("The day to order by; null where none is needed."),
    "on_order[]": N_("What orders and drafts bring of all that is missing."),
    "on_order[].what": N_("What it is."),
    "on_order[].quantity": N_("How much of it: mm, of bobbins pieces, of sprays mg."),
    "on_order[].order": N_("The order's number."),
    "on_order[].supplier": N_("From whom."),
    "on_order[].comes_on": N_("The day it is expected; null for a draft."),
    "on_order[].is_draft": N_("Whether it is drafted and not sent."),
    "measure_first[]": N_(
        "One, two or three things whose look most likely settles the verdict; empty where none would."
    ),
    "measure_first[].items[]": N_("The things to look at together."),
    "measure_first[].items[].label": N_("The label on it."),
    "measure_first[].items[].what": N_("The thread or stabilizer that it is."),
    "measure_first[].items[].place": N_("Where it is."),
    "measure_first[].items[].act": N_("weigh, measure across, judge by eye, or measure along."),
    "measure_first[].of": N_(
        "The thread, or what else, whose verdict that settles; null for that of the whole."
    ),
    "measure_first[].chance": N_("How likely the verdict is then enough or short; of a short one, enough."),
    "measure_first[].enough": N_("How likely it is then enough, with the shades chosen."),
    "measure_first[].short": N_("How likely it is then short."),
    "instead[]": N_("One, two or three shades whose purchase comes nearest to the colours."),
    "instead[].shades[]": N_("The shades to buy."),
    "instead[].shades[].shade": N_("The shade."),
    "instead[].shades[].blocks[]": N_("The blocks that would be stitched with it."),
    "instead[].shades[].need_mm": N_("What they take."),
    "instead[].shades[].packs": N_("Packs to buy."),
    "instead[].shades[].put_up": N_("What a pack is."),
    "instead[].shades[].supplier": N_("From whom."),
    "instead[].shades[].total": N_("What it costs."),
    "instead[].mean_delta_e_00": N_(
        "The mean difference over the thread as it is; of wishes, from the gamut."
    ),
    "instead[].mean_delta_e_00_then": N_("The same with them."),
    "instead[].verdict_then": N_("The verdict of the plan made again with them on the shelf."),
    "instead[].total": N_("What they cost together."),
    "notes[]": N_("What a person should know."),
    "needles.threadings": N_("How often a needle is threaded."),
    "needles.start[]": N_("What is on the needles at the start."),
    "needles.start[].needle": N_("The needle, from 1."),
    "needles.start[].thread": N_("The thread, by its place in threads."),
    "needles.rethreads[]": N_("Where a needle is threaded anew, on a machine with several."),
    "needles.rethreads[].hooping": N_("Before which hooping."),
    "needles.rethreads[].block": N_("Before which block."),
    "needles.rethreads[].needle": N_("Which needle."),
    "needles.rethreads[].off": N_("The thread that comes off."),
    "needles.rethreads[].on": N_("The thread that goes on."),
    "needles.spool_changes[]": N_("Where a spool ends and the next of its thread goes on."),
    "needles.spool_changes[].thread": N_("The thread, by its place in threads."),
    "needles.spool_changes[].hooping": N_("In which hooping."),
    "needles.spool_changes[].block": N_("Before which block, or inside it."),
    "needles.spool_changes[].inside_block": N_("How far into it; 0 at its start."),
    "needles.spool_changes[].off": N_("The spool that ends."),
    "needles.spool_changes[].on": N_("The spool that goes on."),
    "needles.spool_changes[].needle": N_("The needle of the one that ends."),
    "needles.spool_changes[].on_needle": N_("That of the next; the same where it is threaded anew."),
    "needles.spool_changes[].ready_from": N_("From which hooping on it can be threaded; 0: not before."),
    "needles.spool_changes[].stops": N_("Whether the machine stands for it."),
    "copies_compared[]": N_("One piece a hooping beside several."),
    "copies_compared[].copies_per_hooping": N_("Pieces a hooping."),
    "copies_compared[].hoop": N_("In which hoop."),
    "copies_compared[].hoopings": N_("Hoopings."),
    "copies_compared[].thread_changes": N_("Changes of thread."),
    "copies_compared[].rethreads": N_("Threadings anew."),
    "copies_compared[].machine_min": N_("Minutes of the machine."),
    "copies_compared[].hands_on_min": N_("Minutes of a person."),
    "copies_compared[].stabilizer_pieces": N_("Pieces of stabilizer."),
    "copies_compared[].stabilizer_mm2": N_("Their area."),
    "copies_compared[].planned": N_("Whether the plan is this one."),
}
SHADE: dict[str, str] = {
    "id": N_("Its number in the catalogue."),
    "maker": N_("Its maker."),
    "range": N_("Its range."),
    "code": N_("Its code."),
    "name": N_("Its name."),
    "hex": N_("Its nearest screen colour; empty where the colour is not known."),
}
READ_DESIGN: dict[str, str] = {
    "designs[].blocks[]": N_("The colour blocks of the design; keys not named here are as in plan."),
    "designs[].blocks[].needle_mm_per_piece": N_(
        "In read_design: needle thread of one piece from the stitches alone, "
        "with tails and allowance, before any use factor and without thread changes."
    ),
    "designs[].blocks[].bobbin_mm_per_piece": N_(
        "In read_design: bobbin thread of one piece, likewise before any factor."
    ),
    "designs[].blocks[].needle_laid_mm_per_piece": N_(
        "The same as needle_mm_per_piece of read_design, by a name that says so."
    ),
    "designs[].blocks[].bobbin_laid_mm_per_piece": N_(
        "The same as bobbin_mm_per_piece of read_design, by a name that says so."
    ),
}


def paths_of(data: object, before: str = "") -> set[str]:
    """Return the path of every key in ``data``, as the tables here name them.

    >>> sorted(paths_of({"a": [{"b": 1}], "c": {"d": None}, "e": [1]}))
    ['a[]', 'a[].b', 'c.d', 'e[]']
    """
    if isinstance(data, dict):
        found: set[str] = set()
        for key, value in data.items():
            path = f"{before}.{key}" if before else str(key)
            found |= paths_of(value, path) or {path}
        return found
    if isinstance(data, list):
        found = {f"{before}[]"}
        for each in data:
            if isinstance(each, dict):
                found |= paths_of(each, f"{before}[]")
        return found
    return {before} if before else set()
