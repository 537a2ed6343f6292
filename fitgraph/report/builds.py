"""Builds: their number, the ways that stand for all, and the first builds.

A *way* is what people read for a core: one choice for each role that decides, with whatever
fills the rest.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from fitgraph.explain.representatives import Contrast, Representative
from fitgraph.explain.requested import Listed
from fitgraph.explain.words import the_part, unfilled_text
from fitgraph.explain.words_rider import about
from fitgraph.model import Option, Vocabulary
from fitgraph.report.blocks import Block, Report, Say, Section, Tone, quiet, status
from fitgraph.report.cautions_told import cautions_on_work
from fitgraph.report.hints import Hints
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import (
    COUNT,
    FLAG,
    LIST,
    MASS,
    MASS_TOLD,
    MINUTES,
    MOMENT,
    MOMENT_TOLD,
    PLACE,
    TEXT,
    TOLD,
    Unit,
    money_of,
    number,
)
from fitgraph.solve.counted import Counted
from fitgraph.solve.engine import Build
from fitgraph.wording import capital, first_of, plural

#: What the reasons for a row are called.
TITLES = {
    "cheapest": "cheapest",
    "lightest": "lightest",
    "strongest": "strongest",
    "balance": "best balance",
    "shelf": "all from the shelf",
    "work": "least workshop work",
    "different": "most different",
}

#: What further rows of a reason are called.
_AGAIN = {"balance": "another balance", "different": "different again"}

#: So many parts that have to be ordered are named, the rest counted.
_NAMED = 2

#: Numbers from here on are told in words as well.
_LARGE = 10**6

_FIRST = {"price": "cheapest", "mass": "lightest", "strength": "strongest"}


def cautions_of(shown: Sequence[Build | Representative], vocabulary: Vocabulary) -> tuple[str, ...]:
    """Return the cautions that travel with builds, or with ways."""
    services = (s for b in shown for _, s in b.services)
    return cautions_on_work(vocabulary, services, (b.strength_nm for b in shown))


def cautions(found: Listed) -> tuple[str, ...]:
    """Return the cautions that travel with the listed builds."""
    return cautions_of((*found.builds, *found.answers), found.catalogue.vocabulary)


def data(found: Listed) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes."""
    count, vocabulary = found.count, found.catalogue.vocabulary
    answer: dict[str, Any] = {"count": count.number, "exact": count.exact}
    if not count.exact:
        answer["count_between"] = [count.least, count.most]
        answer["confidence"] = number(count.confidence)
    if found.cores is not None:
        cores = found.cores
        answer["cores"] = cores.number
        answer["cores_exact"] = cores.exact
        if not cores.exact:
            answer["cores_between"] = [cores.least, cores.most]
    answer["possible"] = found.possible
    answer["sort"] = found.sort
    if found.cores is not None:
        answer["answers"] = [
            _answer(one, title, vocabulary)
            for one, title in zip(found.answers, titles(found.answers), strict=True)
        ]
    if found.opened is not None:
        answer["core"] = _core(found.opened)
    answer["builds"] = [
        {
            "parts": build.parts,
            "services": [{"sku": sku, "service": service} for sku, service in build.services],
            "price": money_of(vocabulary).data(build.price),
            "currency": vocabulary.currency,
            "mass_g": number(build.mass_g),
            "strength": number(build.strength_nm),
        }
        for build in found.builds
    ]
    answer["cautions"] = list(cautions(found))
    return answer


def _core(one: Representative) -> dict[str, Any]:
    return {
        "parts": one.parts,
        "services": [{"sku": sku, "service": service} for sku, service in one.services],
    }


def _answer(one: Representative, title: str, vocabulary: Vocabulary) -> dict[str, Any]:
    amount, fillings = money_of(vocabulary).data, one.fillings
    counted: dict[str, Any] = {"fillings": fillings.number, "fillings_exact": fillings.exact}
    if not fillings.exact:
        counted["fillings_between"] = [fillings.least, fillings.most]
    return {
        "title": title,
        "reasons": list(one.reasons),
        **_core(one),
        **counted,
        "price_from": amount(one.price_from),
        "price_to": amount(one.price_to),
        "currency": vocabulary.currency,
        "mass_from_g": number(one.mass_from_g),
        "mass_to_g": number(one.mass_to_g),
        "strength": number(one.strength_nm),
        "minutes": number(one.minutes),
        "in_stock": one.in_stock,
        "price_today": None if one.today is None else amount(one.today),
        "pieces": one.pieces,
        "lacking": list(one.lacking),
        "contrast": contrast_text(one, vocabulary),
    }


def titles(answers: Sequence[Representative]) -> list[str]:
    """Return what rows are called, by their reasons."""
    seen: set[str] = set()
    found = []
    for one in answers:
        names = [_AGAIN[r] if r in seen and r in _AGAIN else TITLES[r] for r in one.reasons]
        seen.update(one.reasons)
        found.append(", ".join(names))
    return found


def difference_words(than: Contrast, vocabulary: Vocabulary) -> list[str]:
    """Return how one thing differs from another, in a few words each.

    Parameters
    ----------
    than : Contrast
        The difference.
    vocabulary : Vocabulary
        Whose currency is meant.

    Returns
    -------
    list of str
        Such as ``"+14.00 EUR"``, ``"310 g lighter"``, ``"90 N·m stronger"``; nothing for what
        is the same.
    """
    words = []
    if than.price:
        sign = "+" if than.price > 0 else "\N{MINUS SIGN}"
        words.append(sign + money_of(vocabulary).show(abs(than.price)))
    for value, unit, more, less in (
        (than.mass_g, MASS, "heavier", "lighter"),
        (than.strength_nm, MOMENT, "stronger", "weaker"),
    ):
        if value is not None and round(value):
            words.append(f"{unit.show(abs(value))} {more if value > 0 else less}")
    if than.minutes:
        words.append(
            f"{MINUTES.show(abs(than.minutes))} {'more' if than.minutes > 0 else 'less'} work"
        )
    return words


def shelf_words(one: Representative, vocabulary: Vocabulary) -> str:
    """Return whether a way can be done today, and which of its parts are short if not."""
    short = [vocabulary.roles[r].title for r, sku in one.parts.items() if sku in one.lacking]
    if one.today is not None:
        held = "in stock" if one.pieces is None else f"{one.pieces:,} in stock"
        if one.today == one.price_from:
            return held
        return f"{held}, today from {money_of(vocabulary).show(one.today)}"
    if one.lacking:
        return f"to order: {first_of(short, _NAMED)}"
    return "to order: what fills it"


def contrast_text(one: Representative, vocabulary: Vocabulary) -> str:
    """Return a row's contrast to the first, and whether it can be done today."""
    words = [] if one.than is None else difference_words(one.than, vocabulary)
    return ", ".join([*words, shelf_words(one, vocabulary)])


def part_text(option: Option | None, vocabulary: Vocabulary) -> str:
    """Return a part with the work that is done to it."""
    if option is None or option.part is None:
        return "\N{EN DASH}"
    done = [vocabulary.services[s].title for s in option.services]
    return " + ".join((option.part.called, *done))


def _name_and_number(option: Option, vocabulary: Vocabulary) -> tuple[str, str]:
    """Return a part's name, with the work that is done to it, and its stock number."""
    assert option.part is not None
    done = [vocabulary.services[s].title for s in option.services]
    if not option.part.name:
        return "", " + ".join((option.part.sku, *done))
    return " + ".join((option.part.name, *done)), option.part.sku


def _figures(vocabulary: Vocabulary) -> list[Column]:
    return [
        Column("place", PLACE, ""),
        Column("price", money_of(vocabulary)),
        Column("mass_g", MASS_TOLD, "mass"),
        Column("strength_nm", MOMENT_TOLD, "strength"),
    ]


def tables(found: Listed) -> tuple[Table, ...]:
    """Return the listed builds: a row each, a column for each role."""
    vocabulary = found.catalogue.vocabulary
    roles = [Column(r.name, TEXT, r.title) for r in vocabulary.roles.values()]
    rows = [
        (
            n,
            b.price,
            b.mass_g,
            b.strength_nm,
            *(b.parts.get(r) for r in vocabulary.roles),
            " ".join(f"{sku}:{service}" for sku, service in b.services),
        )
        for n, b in enumerate(found.builds, start=1)
    ]
    columns = (*_figures(vocabulary), *roles, Column("services"))
    listed = Table("builds", columns, tuple(rows))
    return (listed,) if found.cores is None else (listed, _answers_table(found))


def _answers_table(found: Listed) -> Table:
    """Return the ways that stand for all: a row each, a column for each role that decides."""
    vocabulary = found.catalogue.vocabulary
    money = money_of(vocabulary)
    titled = list(zip(found.answers, titles(found.answers), strict=True))
    places = {id(one): n for n, (one, _) in enumerate(titled, start=1)}
    return Table.of(
        "answers",
        titled,
        (Column("place", PLACE, ""), lambda row: places[id(row[0])]),
        (Column("title"), lambda row: row[1]),
        (Column("fillings", COUNT), lambda row: row[0].fillings.number),
        (Column("price_from", money), lambda row: row[0].price_from),
        (Column("price_to", money), lambda row: row[0].price_to),
        (Column("mass_from_g", MASS), lambda row: row[0].mass_from_g),
        (Column("mass_to_g", MASS), lambda row: row[0].mass_to_g),
        (Column("strength_nm", MOMENT), lambda row: row[0].strength_nm),
        (Column("minutes", MINUTES), lambda row: row[0].minutes),
        (Column("in_stock", FLAG), lambda row: row[0].in_stock),
        (Column("pieces", COUNT), lambda row: row[0].pieces),
        (Column("lacking", LIST), lambda row: row[0].lacking),
        (Column("contrast"), lambda row: contrast_text(row[0], vocabulary)),
        *(
            (Column(r, TEXT, vocabulary.roles[r].title), lambda row, r=r: row[0].parts.get(r))
            for r in vocabulary.deciding
        ),
        (
            Column("services"),
            lambda row: " ".join(f"{sku}:{service}" for sku, service in row[0].services),
        ),
    )


def _span(low: float | None, high: float | None, unit: Unit) -> str:
    """Return a range as people read it."""
    if low is None or high is None:
        return unit.show(None)
    if unit.show(low) == unit.show(high):
        return unit.show(low)
    return f"{unit.show(low).removesuffix(' ' + unit.name)}\N{EN DASH}{unit.show(high)}"


def _bought(found: Listed, one: Representative) -> list[Option]:
    """Return the parts that decide a way, those aside that are owned as they are."""
    vocabulary, owned = found.catalogue.vocabulary, set(found.request.have)
    return [
        one.options[role]
        for role in vocabulary.deciding
        if role in one.options and (one.parts[role] not in owned or one.options[role].services)
    ]


def told_answers(found: Listed) -> tuple[tuple[str, tuple[tuple[str, str], ...], str], ...]:
    """Return the ways that stand for all: each as its title, its parts and what it comes to.

    A part is its name, with the work that is done to it, and its stock number; the name is empty
    where it has none.
    """
    vocabulary = found.catalogue.vocabulary
    money = money_of(vocabulary)
    told = []
    for one, title in zip(found.answers, titles(found.answers), strict=True):
        many = ("" if one.fillings.exact else "about ") + plural(one.fillings.number, "filling")
        price = _span(one.price_from, one.price_to, money)
        mass = _span(one.mass_from_g, one.mass_to_g, MASS)
        text = f"any of {many}, {price}, {mass}; {contrast_text(one, vocabulary)}"
        parts = tuple(_name_and_number(o, vocabulary) for o in _bought(found, one))
        told.append((title, parts, text))
    return tuple(told)


def answer_blocks(found: Listed) -> tuple[Block, ...]:
    """Return the ways that stand for all, for people: what they come to, then what they are."""
    vocabulary = found.catalogue.vocabulary
    money = money_of(vocabulary)
    titled = zip(found.answers, titles(found.answers), strict=True)
    sums = [
        (
            n,
            title,
            _span(one.price_from, one.price_to, money),
            _span(one.mass_from_g, one.mass_to_g, MASS),
            one.strength_nm,
            ("" if one.fillings.exact else "about ") + COUNT.show(one.fillings.number),
            "yes" if one.in_stock else "order",
        )
        for n, (one, title) in enumerate(titled, start=1)
    ]
    rows = [
        (
            n,
            ", ".join(part_text(o, vocabulary) for o in _bought(found, one)) or "what you have",
            contrast_text(one, vocabulary),
        )
        for n, one in enumerate(found.answers, start=1)
    ]
    heads = (
        Column("place", PLACE, ""),
        Column("title", TEXT, ""),
        Column("price", TOLD),
        Column("mass", TOLD),
        Column("strength_nm", MOMENT, "strength"),
        Column("fillings", TOLD),
        Column("today", TEXT),
    )
    against = "against the first" if len(rows) > 1 else "today"
    told = (
        Column("place", PLACE, ""),
        Column("parts", TEXT, "with"),
        Column("contrast", TEXT, against),
    )
    return (
        Table("answers", heads, tuple(sums)),
        Section("", (Table("ways", told, tuple(rows)),)),
    )


def _shared(
    builds: Sequence[Build], owned: Collection[str], vocabulary: Vocabulary
) -> tuple[list[str], list[str]]:
    """Return what all builds share and is to be told, and the roles in which they differ."""
    rows: list[Mapping[str, Option]] = [b.options for b in builds]
    shared, differing = [], []
    for role in vocabulary.roles.values():
        cells = {part_text(row.get(role.name), vocabulary) for row in rows}
        option = rows[0].get(role.name)
        if len(cells) > 1:
            differing.append(role.name)
        elif (
            option is None
            or option.part is None
            or (option.part.sku in owned and not option.services)
        ):
            continue
        elif len(rows) == 1:
            differing.append(role.name)
        else:
            shared.append(the_part(role.title, cells.pop(), ""))
    return shared, differing


def blocks(
    builds: Sequence[Build], owned: Collection[str], vocabulary: Vocabulary
) -> tuple[Block, ...]:
    """Return builds for people: what they share once, then a row each.

    Parameters
    ----------
    builds : sequence of Build
        In their order, at least one.
    owned : collection of str
        Stock numbers that cost nothing.
    vocabulary : Vocabulary
        Names roles, services and the currency.
    """
    shared, differing = _shared(builds, owned, vocabulary)
    roles = [Column(r, TEXT, vocabulary.roles[r].title, joined=True) for r in differing]
    rows = [
        (
            n,
            b.price,
            b.mass_g,
            b.strength_nm,
            *(part_text(b.options.get(r), vocabulary) for r in differing),
        )
        for n, b in enumerate(builds, start=1)
    ]
    listed = Table("builds", (*_figures(vocabulary), *roles), tuple(rows))
    if not shared:
        return (listed,)
    row = (("in all", ", ".join(shared)),)
    in_all = Table("in_all", (Column("what"), Column("parts")), row, headed=False)
    return in_all, Section("", (listed,))


def first_told(
    builds: Sequence[Build],
    sort: str,
    owned: Collection[str],
    vocabulary: Vocabulary,
    *,
    only: bool,
) -> tuple[Block, ...]:
    """Return the first builds for people, after a line that says which they are.

    Parameters
    ----------
    builds, owned, vocabulary
        As of :func:`blocks`.
    sort : str
        What they are sorted by.
    only : bool
        Whether there are no others.
    """
    many = len(builds)
    first = f"The {many} {_FIRST[sort]}" if many > 1 else f"The {'one' if only else _FIRST[sort]}"
    told = Section("", blocks(builds, owned, vocabulary))
    return quiet(f"{first}{_free(owned)}:"), told


def _free(owned: Collection[str]) -> str:
    return "; what you have costs nothing" if owned else ""


def between_text(count: Counted) -> str:
    """Return the bounds of an estimate, and how sure they are.

    Examples
    --------
    >>> between_text(Counted(1000, 900, 1100, 0.99)), between_text(Counted(1000, 900, 1100))
    ('between 900 and 1,100, with 99% confidence', 'between 900 and 1,100')
    """
    sure = "" if count.confidence == 1.0 else f", with {count.confidence:.0%} confidence"
    return f"between {COUNT.show(count.least)} and {COUNT.show(count.most)}{sure}"


def counted_text(count: Counted) -> str:
    """Return a number of builds; an estimate says that it is one.

    Examples
    --------
    >>> counted_text(Counted(1234, 1234, 1234))
    '1,234 builds'
    >>> counted_text(Counted(1000, 900, 1100, 0.99))
    'about 1,000 builds (between 900 and 1,100, with 99% confidence)'
    """
    return _number(count) + ("" if count.exact else f" ({between_text(count)})")


def exact_text(count: Counted) -> str:
    """Return how exact a number of builds is, and in words what a large one is.

    Examples
    --------
    >>> exact_text(Counted(98_980_594, 98_980_594, 98_980_594)), exact_text(Counted(90, 80, 95))
    ('exactly, about 99 million', 'estimated, between 80 and 95')
    """
    if not count.exact:
        return f"estimated, {between_text(count)}"
    return "exactly" + (f", about {about(count.number)}" if count.number >= _LARGE else "")


def _advice(found: Listed, hints: Hints) -> list[str]:
    """Return what to try where there is no build."""
    unlimited = found.unlimited or found
    if unlimited.builds:
        best = unlimited.builds[0]
        price = money_of(found.catalogue.vocabulary).show(best.price)
        mass = "an unknown mass" if best.mass_g is None else MASS.show(best.mass_g)
        return [
            f"Without the limits: {plural(unlimited.count.number, 'build')}, "
            f"the {_FIRST[found.sort]} at {price} and {mass}."
        ]
    lines = [text] if (text := unfilled_text(found.catalogue)) else []
    if unlimited.possible:
        limits = ", limits aside" if found.unlimited is not None else ""
        many = plural(unlimited.possible, "build")
        lines.append(f"{many} may hold, if unknown dimensions turn out well{limits}.")
    named = [*found.request.have, *found.request.want]
    if named:
        lines.append(f"To see why: {hints.ask('why', named)}")
    return lines or [f"To see what is missing: {hints.ask('check')}"]


def cores_text(cores: Counted) -> str:
    """Return a number of ways.

    Examples
    --------
    >>> cores_text(Counted(91, 91, 91)), cores_text(Counted(40, 8, 91))
    ('91 ways', '8 to 91 ways')
    """
    if cores.exact:
        return plural(cores.number, "way")
    return f"{COUNT.show(cores.least)} to {plural(cores.most, 'way')}"


def count_told(
    certain: Counted | None, possible: Counted | None, ways: Counted | None = None
) -> tuple[Say, ...]:
    """Return the numbers of certain and of possible builds; None while they are counted.

    Parameters
    ----------
    certain, possible : Counted or None
        How many builds hold, and how many hold or may hold.
    ways : Counted or None
        How many ways these are, which is what somebody chooses between.
    """
    if certain is None:
        return (status("Counting the builds …"),)
    number = _number(certain)
    lead, builds = (number, "") if ways is None else (cores_text(ways), f" ({number})")
    exact = exact_text(certain)
    told = Say(f"{builds} certain to fit", Tone.STATUS, aside=exact, lead=lead)
    if possible is None:
        more = "what is possible as well" if certain.exact else "further"
        return told, quiet(f"Counting {more} …")
    if possible.exact and possible.number <= certain.number:
        return (told,)
    return told, quiet(
        f"{counted_text(possible)} when those are counted in that only fit if a missing or loose "
        "figure turns out well."
    )


def _number(count: Counted) -> str:
    return ("" if count.exact else "about ") + plural(count.number, "build")


def ways_text(found: Listed) -> str:
    """Return the number of cores, and of builds behind it."""
    cores, count = found.cores, found.count
    if cores is None:
        return f"{capital(counted_text(count))}."
    between = "" if count.exact else f": {between_text(count)}"
    return f"{cores_text(cores)} ({_number(count)}{between})."


def _opened(found: Listed) -> Report:
    """Return the fillings of one core for people."""
    one = found.opened
    assert one is not None
    core = ", ".join(part_text(o, found.catalogue.vocabulary) for o in one.options.values())
    some = "" if one.fillings.exact else "About "
    headline = f"{some}{plural(one.fillings.number, 'filling')} of {core}."
    if not found.builds:
        return Report(headline)
    only = one.fillings.exact and one.fillings.number == 1
    return Report(headline, _first(found, only=only), cautions(found))


def _first(found: Listed, *, only: bool) -> tuple[Block, ...]:
    owned, vocabulary = found.request.have, found.catalogue.vocabulary
    return first_told(found.builds, found.sort, owned, vocabulary, only=only)


def report(found: Listed, hints: Hints) -> Report:
    """Return the answer for people."""
    if found.opened is not None:
        return _opened(found)
    if found.none:
        return Report("No build.", tuple(map(Say, _advice(found, hints))))
    headline = ways_text(found)
    if found.answers:
        many = len(found.answers)
        told = f"The {many} that stand for all" if many > 1 else "The one"
        if found.cores is not None and many == found.cores.number and many > 1:
            told = f"All {many}"
        lead = quiet(f"{told}{_free(found.request.have)}:")
        return Report(headline, (lead, Section("", answer_blocks(found))), cautions(found))
    if not found.builds:
        return Report(headline)
    return Report(headline, _first(found, only=found.count.most == 1), cautions(found))
