"""Dataclasses whose methods are written when they are first called, if ever.

The standard decorator writes and compiles up to ten functions a class while its module is being
imported: a millisecond for each of the package's 350 classes, of which one command makes every
fourth. Here it gathers the fields and makes the slots, and is asked for nothing else: ``__init__``
is written at the first call, and the other methods are closures, with the same results, but that
the repr of what holds a whole catalogue is no longer than a screen.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    # To whoever checks types it is the standard decorator.
    from dataclasses import dataclass as dataclass
else:
    import dataclasses
    from operator import attrgetter
    from reprlib import recursive_repr

    def dataclass(
        cls=None, /, *, frozen=False, slots=False, eq=True, repr=True, weakref_slot=False
    ):
        """Make a class a dataclass, as the standard decorator of this name does.

        Parameters
        ----------
        cls : type
            The class. Its fields can all be given by position.
        frozen, slots, eq, repr, weakref_slot : bool
            As for the standard decorator.
        """

        def made(cls):
            room = {"slots": slots, "weakref_slot": weakref_slot}
            if any(hasattr(base, "__dataclass_fields__") for base in cls.__mro__[1:]):
                # Rare, and the standard decorator knows best what is inherited.
                return dataclasses.dataclass(cls, frozen=frozen, eq=eq, repr=repr, **room)
            own = {name for name, value in vars(cls).items() if value is not None}
            if "__doc__" not in own:
                cls.__doc__ = cls.__name__  # otherwise the signature would be written out
            cls = dataclasses.dataclass(cls, init=False, eq=False, repr=False, **room)
            cls.__dataclass_params__.frozen = frozen
            fields = dataclasses.fields(cls)
            methods = {"__init__": _Init(cls, fields, frozen=frozen, slots=slots)}
            if repr:
                methods["__repr__"] = _repr([f.name for f in fields if f.repr])
            if eq:
                values = _values([f.name for f in fields if f.compare])
                methods["__eq__"] = _eq(values)
                methods["__hash__"] = _hash(values) if frozen else None
            if frozen:
                methods["__setattr__"], methods["__delattr__"] = _frozen(cls)
            if frozen and slots:
                methods["__getstate__"], methods["__setstate__"] = _state(cls, fields)
            for name in methods.keys() - own:
                setattr(cls, name, methods[name])
            return cls

        return made if cls is None else made(cls)

    #: Letters of a repr that are shown whole, and of each value where there are more.
    _SCREEN, _LONG_VALUE = 2000, 120

    class _Fresh:
        def __repr__(self):
            return "<factory>"

    #: Stands for a default that is made anew, as in the standard decorator's signatures.
    _FRESH = _Fresh()

    class _Init:
        """Stands where ``__init__`` will stand."""

        def __init__(self, cls, fields, *, frozen, slots):
            self.cls, self.fields, self.frozen, self.slots = cls, fields, frozen, slots

        def __get__(self, instance, owner=None):
            if vars(self.cls)["__init__"] is self:
                self.cls.__init__ = self.written()
            return self.cls.__init__.__get__(instance, owner)

        def written(self):
            """Return the method; what is frozen is set past its class's ``__setattr__``."""
            missing, cls = dataclasses.MISSING, self.cls
            known = {"fresh": _FRESH, "set_": object.__setattr__}
            parameters, lines = ["self"], []
            for f in self.fields:
                value, start = f.name, f"start_{f.name}"
                if f.default_factory is not missing:
                    known[start], parameter = f.default_factory, f"{f.name}=fresh"
                    value = f"{start}()"
                    if f.init:
                        value = f"{start}() if {f.name} is fresh else {f.name}"
                elif f.default is not missing:
                    known[start], parameter = f.default, f"{f.name}={start}"
                    value = f.name if f.init else start
                else:
                    parameter = f.name
                if f.init:
                    parameters.append(parameter)
                elif value == f.name:
                    continue
                if self.frozen and self.slots:
                    known[f"set_{f.name}"] = getattr(cls, f.name).__set__
                    lines.append(f"set_{f.name}(self, {value})")
                elif self.frozen:
                    lines.append(f"set_(self, {f.name!r}, {value})")
                else:
                    lines.append(f"self.{f.name} = {value}")
            if hasattr(cls, "__post_init__"):
                lines.append("self.__post_init__()")
            body = "\n ".join(lines or ["pass"])
            exec(f"def __init__({', '.join(parameters)}):\n {body}", known)
            init = known["__init__"]
            init.__module__, init.__qualname__ = cls.__module__, f"{cls.__qualname__}.__init__"
            init.__annotations__ = {f.name: f.type for f in self.fields if f.init}
            init.__annotations__["return"] = None
            return init

    def _values(names):
        """Return what returns the values of some fields, always as a tuple."""
        if len(names) > 1:
            return attrgetter(*names)
        return lambda one: tuple(getattr(one, name) for name in names)

    def _eq(values):
        def equal(self, other):
            if other.__class__ is self.__class__:
                return values(self) == values(other)
            return NotImplemented

        return equal

    def _hash(values):
        def hashed(self):
            return hash(values(self))

        return hashed

    def _cut(text):
        return text if len(text) <= _LONG_VALUE else f"{text[:_LONG_VALUE]}… ({len(text):,})"

    def _repr(names):
        @recursive_repr()
        def written(self):
            inside = [f"{name}={getattr(self, name)!r}" for name in names]
            if sum(map(len, inside)) > _SCREEN:
                inside = map(_cut, inside)
            return f"{self.__class__.__qualname__}({', '.join(inside)})"

        return written

    def _frozen(cls):
        fields = cls.__dataclass_fields__

        def set_(self, name, value):
            if type(self) is cls or name in fields:
                raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")
            super(cls, self).__setattr__(name, value)

        def delete(self, name):
            if type(self) is cls or name in fields:
                raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")
            super(cls, self).__delattr__(name)

        return set_, delete

    def _state(cls, fields):
        setters = [getattr(cls, f.name).__set__ for f in fields]
        values = _values([f.name for f in fields])

        def state(self):
            return list(values(self))

        def set_state(self, state):
            for set_, value in zip(setters, state, strict=True):
                set_(self, value)

        return state, set_state
