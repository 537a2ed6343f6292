"""The shape of a vocabulary file: which entries each table has, and what kind of value each is.

The reader takes the entries it knows from here, and so does the JSON Schema that editors
understand; so the two cannot part. What a value means (whether a path names a dimension, whether
a length is one) only the reader can tell.

References
----------
.. [1] "JSON Schema: A Media Type for Describing JSON Documents", draft-07, 2018: the draft that
   editors of TOML files understand as well.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Mapping
from typing import Any

from fitgraph.mechanics.materials import FAMILIES, MATERIALS
from fitgraph.mechanics.preferred_sizes import RENARD
from fitgraph.mechanics.rules import RULES, Rule
from fitgraph.mechanics.standards import PROPERTY_CLASSES, SCREWS
from fitgraph.model import Basis, Fill

Shape = dict[str, Any]

#: What the words of a vocabulary stand for, and what a missing row may mean.
BASES = {"measured": Basis.MEASURED, "maker": Basis.MAKER, "nominal": Basis.NOMINAL}
IF_MISSING = ("present", "absent", "unknown")

#: Ra that a drawing may ask for [µm], the coarsest grade, N12; classes of ISO 2768-1:1989.
ROUGHEST, GENERAL = 50, ("f", "m", "c", "v")

#: What makes a style of riding, and the most that a weight, a look's effort, and numbers may be.
WEIGHTS = ("light", "strong", "affordable")
MOST_WEIGHT, MOST_MINUTES, MOST_NUMBER = 1000, 10_000, 10**9

#: How large a silhouette may be, in units of its own.
MOST_UNITS = 10_000

_DRAFT = "http://json-schema.org/draft-07/schema#"

#: Materials that bear load, so that a press fit of them can be worked out.
BEARING = tuple(m.name for m in MATERIALS.values() if m.bears_load)


def _text(says: str, **more: Any) -> Shape:
    return {"type": "string", "description": says, **more}


def _flag(says: str) -> Shape:
    return {"type": "boolean", "description": says}


def _length(says: str) -> Shape:
    return {"type": ["string", "number"], "description": f"{says}: a length with its unit"}


def _figure(says: str, like: str = "28.6 ±0.05 mm") -> Shape:
    return {"type": ["string", "number"], "description": f"{says}, like {like}"}


def _amount(says: str) -> Shape:
    return {"type": ["string", "number"], "description": f"{says}: an amount, like 15.00"}


def _number(says: str, most: float, **more: Any) -> Shape:
    return {"type": "number", "minimum": 0, "maximum": most, "description": says, **more}


def _path(says: str) -> Shape:
    # Role and attribute, or role, feature and dimension.
    return _text(f"{says}: role.feature.dimension", pattern=r"^[^.]+(\.[^.]+){1,2}$")


def _one_of(says: str, values: Iterable[str]) -> Shape:
    return _text(says, enum=list(values))


def _list(of: Shape, says: str, **more: Any) -> Shape:
    return {"type": "array", "items": of, "description": says, **more}


def _map(of: Shape, says: str, **more: Any) -> Shape:
    return {"type": "object", "additionalProperties": of, "description": says, **more}


def _table(entries: Mapping[str, Shape], says: str = "", needs: Iterable[str] = ()) -> Shape:
    made: Shape = {
        "type": "object",
        "properties": dict(entries),
        "additionalProperties": False,
    }
    if says:
        made["description"] = says
    if needs := list(needs):
        made["required"] = needs
    return made


def _ref(name: str) -> Shape:
    return {"$ref": f"#/definitions/{name}"}


_WHEN = _list(_text("role or role.feature, or not …"), "It counts only where all of them hold")

#: Entries that every joint has, whatever its rule.
_JOINT: Mapping[str, Shape] = {
    "id": _text("Its name, unique in the file"),
    "title": _text("How sentences name it"),
    "rule": _one_of("What decides it", (r.name for r in RULES.values() if not r.own)),
    "when": _WHEN,
    "because": _text("What is said where it fails"),
    "tidy": _flag("It only keeps needless parts out of lists"),
    "check": _flag("A joint of one part with itself: finds contradictory figures"),
}


def joint_shape(rule: Rule) -> Shape:
    """Return what a joint of a rule may hold, and has to."""
    entries = dict(_JOINT)
    needs = ["rule"]
    if rule.on_presence:
        entries["needs"] = _text("What has to be there, or must not: role or role.feature")
        needs.append("needs")
    for argument in rule.arguments:
        entries[argument] = _path(f"The {argument}")
        if argument not in rule.may_lack:
            needs.append(argument)
    for window, default in (rule.limits or {}).items():
        entries[window] = _length(f"The window's {window}")
        if default is None:
            needs.append(window)
    if rule.sums:
        entries[rule.sums] = {**_ref(rule.sums)}
        needs.append(rule.sums)
    made = _table(entries, needs=needs)
    if rule.sums == "spans":
        made["anyOf"] = [{"required": [window]} for window in rule.limits or {}]
    return made


def _joints() -> Shape:
    """Return a joint of any rule: which entries it has hangs on its rule."""
    return {
        "type": "object",
        "required": ["rule"],
        "properties": {"rule": _JOINT["rule"]},
        "allOf": [
            {
                "if": {"properties": {"rule": {"const": rule.name}}, "required": ["rule"]},
                "then": joint_shape(rule),
            }
            for rule in RULES.values()
            if not rule.own
        ],
    }


_RING = {"outside": _path("Its outer diameter"), "slot": _path("The cut that lets it close")}
_BORE = {"bore": _path("Its inner diameter")}

_COST: Mapping[str, Shape] = {
    "material_per_kg": _amount("Of the blank"),
    "hour": _amount("On the machine"),
    "minutes": _number("Machine time of a piece beside removal", MOST_NUMBER),
    "removal": _number("Material removed in a minute [mm3]", MOST_NUMBER, exclusiveMinimum=0),
    "setup_minutes": _number("Machine time to set up a lot", MOST_NUMBER),
    "lot": _number("Pieces in a lot", MOST_NUMBER, exclusiveMinimum=0),
    "allowance": _length("What a blank is wider and longer"),
}

_RA = _number("Ra [µm]", ROUGHEST, exclusiveMinimum=0)

#: Every table, by name. Those that a file has one of by name (a role, a service) stand as one.
TABLES: Mapping[str, Shape] = {
    "trade": _table(
        {
            "name": _text("What the trade is"),
            "currency": _text("Code of ISO 4217, like EUR", pattern="^[A-Z]{3}$"),
            "minor_digits": _number("Decimals of the currency", 4),
            "customer": _text("What somebody who asks is called, customer by default", minLength=1),
        }
    ),
    "limits": _table(
        {word: _length(f"Half the limits of a {word} figure") for word in BASES},
        "Half the width of the limits of a figure that comes without",
    ),
    "strength": _table(
        {name: _path(f"The tube's {name}") for name in ("outside", "bore", "slot")},
        "The tube whose strength is compared",
        ("outside", "bore"),
    ),
    "weigh": _table(
        {
            **{name: _path(f"The tube's {name}") for name in ("outside", "bore", "length")},
            "more": _figure("Tube beside that length", "300..900 mm"),
        },
        "The tube whose mass is checked",
        ("outside", "bore", "length"),
    ),
    "hold": _table(
        {
            "thread": _path("The bolts' thread"),
            "count": _path("Their number"),
            "height": _path("Height of the gripping band"),
            "outside": _path("The held tube's outside"),
            "bore": _path("Its bore"),
            "slot": _path("Its slot's width"),
            "slot_length": _path("Its slot's length"),
            "property_class": _one_of("Of the bolts, ISO 898-1", PROPERTY_CLASSES),
            "torque_nm": {
                **_table(
                    {s: {"type": "number", "exclusiveMinimum": 0} for s in SCREWS},
                    "Tightening torque of each thread [N m]",
                ),
            },
            "demand_nm": {
                "type": "number",
                "exclusiveMinimum": 0,
                "description": "A moment to compare the grip with [N m]",
            },
            "demand": _text("What that moment is"),
        },
        "What holds a tube, and how hard",
        ("thread", "count", "height", "outside", "bore"),
    ),
    "silhouette": _table(
        {
            "width": _number("Its width, in units of its own", MOST_UNITS),
            "height": _number("Its height", MOST_UNITS),
            "roles": _map(_list(_ref("outline"), "Its lines"), "What each role looks like"),
        },
        "The product from the side, for pages on which a role is pressed",
        ("width", "height", "roles"),
    ),
    "outline": {
        **_table(
            {
                "line": _list(_number("x, y, x, y ...", MOST_UNITS), "A line", minItems=4),
                "ring": _list(
                    _number("x, y and radius", MOST_UNITS), "A ring", minItems=3, maxItems=3
                ),
                "wide": _number("How wide it is drawn", MOST_UNITS),
            },
        ),
        "oneOf": [{"required": ["line"]}, {"required": ["ring"]}],
    },
    "press": _table(
        {
            "bored_wall": _figure("Usual wall around the bore", "2..4 mm"),
            "length": _length("Usual length of the fit"),
            "bored": _one_of("Material of what is bored", BEARING),
            "pressed": _one_of("Material of what is pressed in", BEARING),
            "pressed_wall": _length("Wall of what is pressed in; 0 mm where solid"),
        },
        "Parts that a joint presses into each other",
        ("bored_wall", "length", "bored", "pressed"),
    ),
    "kind": {
        **_table(
            {
                "within": _map(
                    _figure("A window", "31..33 mm"), "Windows of dimensions", minProperties=1
                ),
                "when": {**_WHEN, "minItems": 1},
            }
        ),
        "anyOf": [{"required": ["within"]}, {"required": ["when"]}],
    },
    "group": _table(
        {
            "title": _text("How answers head it"),
            "kinds": _map(_ref("kind"), "Kinds; the first that a part suits counts"),
        }
    ),
    "dimension": _table(
        {
            "worded": _flag("Compared as text, not measured"),
            "plausible": _figure("Outside of it a figure is taken for a slip", "20..40 mm"),
            "measure": _text("How to measure it"),
        }
    ),
    "feature": _table(
        {
            "kind": _text("bore, spigot, slot, gap, thread, length, mount …"),
            "if_missing": _one_of("What a part without a row for it has", IF_MISSING),
            "title": _text("How people call it"),
            "gloss": _text("What it is, for people"),
            "dimensions": _map(_ref("dimension"), "Its dimensions, by name"),
        }
    ),
    "role": _table(
        {
            "title": _text("How people call it"),
            "plural": _text("How people call several of its parts"),
            "fill": _one_of("When a build fills it", (f.value for f in Fill)),
            "gloss": _text("What it is, for people"),
            "by_material": _flag("A wish for a material is meant for it"),
            "decides": _flag("Its part makes a build another one"),
            "features": _map(_ref("feature"), "Its features, by name"),
        }
    ),
    "core": _table({**_RING, "when": _WHEN}, "The core of a nest", ("outside",)),
    "ring": _table({**_BORE, **_RING, "when": _WHEN}, "A ring of a nest", ("bore",)),
    "rings": {
        "type": "array",
        "items": [_ref("core")],
        "additionalItems": _ref("ring"),
        "minItems": 2,
        "description": "From the core outwards",
    },
    "span": {
        **_table(
            {
                "add": _path("A length that adds"),
                "take": _path("A length that takes away"),
                "optional": _flag("A part without it only adds nothing"),
                "when": _WHEN,
            }
        ),
        "oneOf": [{"required": ["add"]}, {"required": ["take"]}],
    },
    "spans": _list(_ref("span"), "The lengths that are added up", minItems=1),
    "joint": _joints(),
    "service": _table(
        {
            "title": _text("The work, as an instruction"),
            "role": _text("Whose part it is done to"),
            "price": _amount("What it costs"),
            "minutes": _number("Workshop time", MOST_MINUTES),
            "when": _WHEN,
            "sets": _map({"type": "object"}, "Features that the part has afterwards"),
            "removes": _list(_text("A feature"), "Features that it no longer has"),
            "shifts": _map(_length("By how much"), "Dimensions that change, by feature.dimension"),
            "cuts_off": _length("Length of tube taken off"),
            "caution": _text("A topic of [cautions]"),
            "gloss": _text("What it is, for people"),
        },
        needs=("role",),
    ),
    "cost": _table(_COST, "What making it is estimated to cost", tuple(_COST)),
    "roughness": _table(dict.fromkeys(("bore", "outside", "rest"), _RA)),
    "chamfer": _table({name: _length("A lead-in") for name in ("bore", "outside")}),
    "make": _table(
        {
            "title": _text("How people call it"),
            "role": _text("The role of the part; by default the table's name"),
            "process": _text("How it is made"),
            "material": _one_of("What it is made of", MATERIALS),
            "materials": _list(
                _one_of(
                    "A material or a family",
                    sorted({*MATERIALS, *FAMILIES}),
                ),
                "What the process can work",
            ),
            "outside": _path("Its outer diameter"),
            "bore": _path("Its inner diameter"),
            "slot": _path("Its slot's width"),
            "length": _length("Its length, or the dimension that is"),
            "free": _map(
                _figure("What the process holds", "h9 or ±0.05"),
                "Dimensions to choose, by feature.dimension",
                minProperties=1,
            ),
            "gauges": _map(
                {
                    "anyOf": [
                        _list(_length("A size"), "Sizes"),
                        _text("every 0.1 mm", pattern="^every "),
                        _one_of("A row of ISO 3", RENARD),
                    ]
                },
                "Sizes that the workshop has gauges for, by feature.dimension",
            ),
            "words": _list(_text("feature.word"), "Words to choose"),
            "wordless": _flag("It may be made without the features those words belong to"),
            "fixed": _map({"type": "object"}, "Features that every such part has"),
            "least_wall": _length("Least wall to leave"),
            "step": _length("Sizes are rounded to it"),
            "price": _amount("What it would sell for"),
            "cost": _ref("cost"),
            "caution": _text("A topic of [cautions]"),
            "roughness": {"anyOf": [_RA, _ref("roughness")]},
            "chamfer": _ref("chamfer"),
            "coaxiality": _length("Zone of the outside's axis about the bore's"),
            "edges": _length("By how much edges may be broken"),
            "general_tolerances": _one_of("Class of ISO 2768-1", GENERAL),
            "finish": _text("For the drawing"),
            "deburring": _text("For the drawing"),
        },
        "A kind of part that could be made",
        ("outside", "length", "material", "free", "cost"),
    ),
    "question": _table(
        {
            "id": _text("Its name; by default what it reads"),
            "ask": _text("In plain words", minLength=1),
            "reads": _text(
                "role.feature, or role.feature.dimension", pattern=r"^[^.]+(\.[^.]+){1,2}$"
            ),
            "tolerance": _length("By how much a reading may be off"),
            "effort": _number("Work of the look; a glance is 1", 1000, exclusiveMinimum=0),
            "how": _text("How to look or measure"),
        },
        needs=("ask", "reads"),
    ),
    "identify": _table(
        {
            "group": _text("The table of [groups] whose kinds are told apart"),
            "sure": _number("How sure is sure enough", 1),
            "means": _map(_text("What a kind is"), "Kinds in plain words"),
            "questions": _list(_ref("question"), "What can be looked at", minItems=1),
        },
        needs=("group", "questions"),
    ),
    "style": _table(
        {
            **{weight: _number(f"How much {weight} counts", MOST_WEIGHT) for weight in WEIGHTS},
            "say": _text("What to say to them"),
        }
    ),
    "advice": _table(
        {
            "rule": _text("What is said with all advice"),
            "styles": _map(_ref("style"), "Ways of riding, by name", minProperties=1),
            "broken": _ref("style"),
            "say": _map(_text("What to say of it"), "Sentences by family of materials"),
            "tell": _map(_path("A dimension"), "Figures to tell, by what to call them"),
            "group": _text("A table of [groups]"),
        },
        needs=("styles",),
    ),
}

#: The file itself.
TOP: Mapping[str, Shape] = {
    "trade": _ref("trade"),
    "limits": _ref("limits"),
    "strength": _ref("strength"),
    "weigh": _ref("weigh"),
    "hold": _ref("hold"),
    "press": _map(_ref("press"), "By the joint that presses"),
    "silhouette": _ref("silhouette"),
    "cautions": _map(_text("A caution"), "Cautions, by topic"),
    "groups": _map(_ref("group"), "Ways to group enquiries, by name"),
    "roles": _map(_ref("role"), "The places that parts take in a build", minProperties=1),
    "joints": _list(_ref("joint"), "Pairings of features, and the rules that decide them"),
    "services": _map(_ref("service"), "Workshop work, by name"),
    "identify": _ref("identify"),
    "advice": _ref("advice"),
    "make": _map(_ref("make"), "What could be made, by name"),
}


def entries_of(table: str) -> tuple[str, ...]:
    """Return the entries that a table may have; of ``""`` those of the file itself.

    Examples
    --------
    >>> entries_of("limits")
    ('measured', 'maker', 'nominal')
    """
    return tuple(TABLES[table]["properties"] if table else TOP)


@functools.lru_cache(maxsize=1)
def vocabulary_schema() -> Shape:
    """Return the shape of ``vocabulary.toml`` as a JSON Schema (draft-07), for editors.

    What it finds wrong the reader finds wrong as well; the reader finds more, since it knows what
    the roles and joints of this file are.

    Examples
    --------
    >>> vocabulary_schema()["required"]
    ['roles', 'joints']
    """
    return {
        "$schema": _DRAFT,
        "title": "A vocabulary of fitgraph: the words of a trade",
        **_table(TOP, needs=("roles", "joints")),
        "definitions": dict(TABLES),
    }
