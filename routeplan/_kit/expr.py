"""Checking what stands after `when`: a small, bounded part of CEL.

CEL ends by design, but nested macros multiply, and texts and lists can grow. Facts are single
values, so rules need no macros, calls, fields, maps or concatenation; what is not in this list is
refused before CEL sees it:

    facts; numbers, "texts", true, false; + - * / and comparisons; in [a, b]; && || ! ?: ( )

What passes is bounded in length, tokens and depth and runs in time proportional to its length.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from routeplan._kit.factlist import FACTS, Fact

__all__ = ["MAX_CHARACTERS", "Condition", "ConditionError", "check_condition"]

MAX_CHARACTERS = 500
_MAX_TOKENS = 120
_MAX_DEPTH = 12
_MAX_CASES = 20_000

_MACROS = ("all", "exists", "exists_one", "filter", "has", "map")
_TOKEN = re.compile(
    r"\s*(?:(?P<number>\d+\.\d+(?:[eE][+-]?\d{1,3})?|\d{1,15}(?![\w.]))"
    r"|(?P<text>\"[^\"\\\n]{0,80}\"|'[^'\\\n]{0,80}')"
    r"|(?P<name>[A-Za-z_]\w*)"
    r"|(?P<op>&&|\|\||[=!<>]=|[-+*/<>!?:()\[\],]))",
    re.ASCII,
)
_WORDS = "facts, numbers, texts, true, false, + - * /, comparisons, in [...], && || ! ? : and ( )"
_COMPARED = frozenset({"==", "!=", "<", "<=", ">", ">="})
# How tightly operators bind, loosest first.
_LEVELS = (("||",), ("&&",), (*_COMPARED, "in"), ("+", "-"), ("*", "/"))


class ConditionError(ValueError):
    """What is wrong with a condition, and what is allowed."""


@dataclass(frozen=True, slots=True)
class Condition:
    """A checked condition: its text and the facts it uses, in order of first use."""

    text: str
    facts: tuple[str, ...]

    def program(self) -> Any:
        """The compiled CEL program."""
        import cel  # loads a compiled library that `legs` does not need

        return cel.compile(self.text)


@dataclass(frozen=True, slots=True)
class _Typed:
    """Type of a part: boolean, text, integer, double; `fact` and `constant` when it is just one."""

    kind: str
    fact: str | None = None
    constant: Any = None


def check_condition(text: object) -> Condition:
    """Check a condition.

    Raises
    ------
    ConditionError
        Too long, too deep, not in the language, an unknown fact, operands that do not fit, not a
        truth value, or never true.
    """
    if text is None:
        msg = 'is missing; give a condition such as "offshore_m > 1000.0", or "true" for always'
        raise ConditionError(msg)
    if not isinstance(text, str):
        msg = f'is {type(text).__name__}, allowed is a text such as "offshore_m > 1000.0"'
        raise ConditionError(msg)
    if len(text) > MAX_CHARACTERS:
        msg = f"has {len(text):,} characters, allowed are {MAX_CHARACTERS}"
        raise ConditionError(msg)
    parser = _Parser(tuple(_tokens(text)))
    if parser.whole() != "boolean":
        msg = "gives no truth value; allowed is a comparison or a yes-no fact"
        raise ConditionError(msg)
    condition = Condition(text, tuple(parser.facts))
    _compiled(condition)
    if parser.simple and _never(condition, parser.constants):
        msg = f"is never true, whatever the facts; facts can be {_ranges(condition.facts)}"
        raise ConditionError(msg)
    return condition


def _compiled(condition: Condition) -> None:
    try:
        condition.program()
    except Exception as error:  # the library raises many kinds for one cause
        msg = f"is not CEL ({str(error).splitlines()[0][:120]}); allowed are {_WORDS}"
        raise ConditionError(msg) from None


def _ranges(names: tuple[str, ...]) -> str:
    return ", ".join(f"{name} {_range(FACTS[name])}" for name in names) or "none here"


def _range(fact: Fact) -> str:
    if fact.kind == "number":
        return f"{fact.low:g} to {fact.high:g}"
    return " or ".join(fact.choices) if fact.kind == "text" else "true or false"


def _tokens(text: str) -> Iterator[tuple[str, str]]:
    at, count, end = 0, 0, len(text.rstrip())
    while at < end:
        match = _TOKEN.match(text, at)
        if match is None:
            shown = text[at : at + 12].strip()
            msg = f"cannot be read at {shown!r}; allowed are {_WORDS}"
            raise ConditionError(msg)
        count += 1
        if count > _MAX_TOKENS:
            msg = f"has more than {_MAX_TOKENS} words and signs, which is the most allowed"
            raise ConditionError(msg)
        at = match.end()
        yield str(match.lastgroup), match.group(str(match.lastgroup))


class _Parser:
    """Recursive descent over tokens; depth is bounded, so it cannot run out of stack."""

    def __init__(self, tokens: tuple[tuple[str, str], ...]) -> None:
        self.tokens = tokens
        self.at = 0
        self.depth = 0
        self.simple = True  # every number fact is compared with constants alone
        self.facts: dict[str, None] = {}
        self.constants: dict[str, set[Any]] = {}

    def whole(self) -> str:
        if not self.tokens:
            msg = f"is empty; allowed are {_WORDS}"
            raise ConditionError(msg)
        kind = self._choice().kind
        if self.at < len(self.tokens):
            msg = f"has {self._peek()!r} where it should end"
            raise ConditionError(msg)
        return kind

    def _peek(self) -> str:
        return self.tokens[self.at][1] if self.at < len(self.tokens) else ""

    def _take(self, wanted: str) -> None:
        if self._peek() != wanted:
            msg = f"has {self._peek() or 'its end'!r} where {wanted!r} is needed"
            raise ConditionError(msg)
        self.at += 1

    def _deeper(self, parse: Callable[[], _Typed]) -> _Typed:
        self.depth += 1
        if self.depth > _MAX_DEPTH:
            msg = f"is nested more than {_MAX_DEPTH} deep, which is the most allowed"
            raise ConditionError(msg)
        found = parse()
        self.depth -= 1
        return found

    def _choice(self) -> _Typed:
        asked = self._binary(0)
        if self._peek() != "?":
            return asked
        self._want(asked, "boolean", "?")
        self.at += 1
        self.simple = False
        yes = self._deeper(self._choice)
        self._take(":")
        no = self._deeper(self._choice)
        if yes.kind != no.kind:
            msg = f"has {yes.kind} and {no.kind} on the sides of ':'; both must be of one kind"
            raise ConditionError(msg)
        return _Typed(yes.kind)

    def _binary(self, level: int) -> _Typed:
        if level == len(_LEVELS):
            return self._unary()
        left = self._binary(level + 1)
        while self._peek() in _LEVELS[level] and self._peek():
            sign = self._peek()
            self.at += 1
            if sign == "in":
                left = self._member(left)
                continue
            left = self._joined(left, sign, self._binary(level + 1))
        return left

    def _unary(self) -> _Typed:
        sign = self._peek()
        if sign not in ("!", "-"):
            return self._atom()
        self.at += 1
        inner = self._deeper(self._unary)
        if sign == "!":
            self._want(inner, "boolean", "!")
            return _Typed("boolean")
        if inner.kind not in ("integer", "double"):
            self._want(inner, "double", "-")
        if inner.constant is not None:
            return _Typed(inner.kind, constant=-inner.constant)
        self.simple = False
        return _Typed(inner.kind)

    def _atom(self) -> _Typed:
        if self.at >= len(self.tokens):
            msg = "ends where a fact or a number is needed"
            raise ConditionError(msg)
        group, word = self.tokens[self.at]
        self.at += 1
        if group == "number":
            whole = word.isdigit()
            return _Typed(
                "integer" if whole else "double", constant=int(word) if whole else float(word)
            )
        if group == "text":
            return _Typed("text", constant=word[1:-1])
        if group == "name":
            return self._named(word)
        if word != "(":
            msg = f"has {word!r} where a fact or a number is needed"
            raise ConditionError(msg)
        inner = self._deeper(self._choice)
        self._take(")")
        return inner

    def _named(self, word: str) -> _Typed:
        if word in ("true", "false"):
            return _Typed("boolean")
        if self._peek() == "(":
            what = "the macro" if word in _MACROS else "the function"
            msg = f"calls {what} {word!r}; rules call nothing, allowed are {_WORDS}"
            raise ConditionError(msg)
        if word not in FACTS:
            msg = f"uses {word[:40]!r}, which is no fact; allowed are {', '.join(FACTS)}"
            raise ConditionError(msg)
        self.facts[word] = None
        kind = FACTS[word].kind
        return _Typed("double" if kind == "number" else kind, fact=word)

    def _member(self, left: _Typed) -> _Typed:
        self._take("[")
        while True:
            part = self._deeper(self._unary)
            if part.constant is None:
                msg = "has a list of more than plain numbers or texts after 'in'"
                raise ConditionError(msg)
            self._compare(left, part, "in")
            if self._peek() != ",":
                break
            self.at += 1
        self._take("]")
        return _Typed("boolean")

    def _joined(self, left: _Typed, sign: str, right: _Typed) -> _Typed:
        if sign in ("&&", "||"):
            self._want(left, "boolean", sign)
            self._want(right, "boolean", sign)
            return _Typed("boolean")
        if sign in _COMPARED:
            self._compare(left, right, sign)
            return _Typed("boolean")
        if left.kind != right.kind or left.kind not in ("integer", "double"):
            msg = (
                f"joins {left.kind} and {right.kind} by {sign!r}; both must be numbers of one "
                "kind, and facts are doubles: write 2.0"
            )
            raise ConditionError(msg)
        self.simple = False
        return _Typed(left.kind)

    def _compare(self, left: _Typed, right: _Typed, sign: str) -> None:
        numbers = {"integer", "double"}
        fits = left.kind == right.kind or {left.kind, right.kind} <= numbers
        ordered = sign in ("==", "!=", "in") or {left.kind, right.kind} <= numbers
        if not (fits and ordered):
            msg = f"compares {left.kind} with {right.kind} by {sign!r}, which do not fit"
            raise ConditionError(msg)
        for one, other in ((left, right), (right, left)):
            if one.fact and other.constant is not None:
                self._known(one.fact, other.constant)
                self.constants.setdefault(one.fact, set()).add(other.constant)
        if (left.fact or right.fact) and left.constant is None and right.constant is None:
            self.simple = False

    def _known(self, name: str, constant: Any) -> None:
        choices = FACTS[name].choices
        if choices and constant not in choices:
            msg = f"compares {name} with {constant!r}; allowed are {', '.join(choices)}"
            raise ConditionError(msg)

    def _want(self, part: _Typed, kind: str, sign: str) -> None:
        if part.kind != kind:
            msg = f"gives {sign!r} {part.kind} where {kind} is needed"
            raise ConditionError(msg)


def _never(condition: Condition, constants: dict[str, set[Any]]) -> bool:
    """Whether a condition that compares facts with constants alone holds in no case.

    Between its constants a fact changes nothing, so one value of each stretch is enough.
    """
    values = [_cases(FACTS[name], constants.get(name, set())) for name in condition.facts]
    count = 1
    for column in values:
        count *= len(column)
    if count > _MAX_CASES:
        return False
    program = condition.program()
    for row in itertools.product(*values):
        try:
            if program.execute(dict(zip(condition.facts, row, strict=True))) is True:
                return False
        except Exception:
            continue
    return True


def _cases(fact: Fact, constants: set[Any]) -> list[Any]:
    if fact.kind == "boolean":
        return [False, True]
    if fact.kind == "text":
        return list(fact.choices)
    inside = sorted({float(c) for c in constants if fact.low <= c <= fact.high})
    edges = sorted({fact.low, fact.high, *inside})
    between = [(a + b) / 2.0 for a, b in itertools.pairwise(edges)]
    if fact.whole:
        return sorted(
            {
                float(round(v))
                for e in edges
                for v in (e - 1, e, e + 1)
                if fact.low <= v <= fact.high
            }
        )
    return sorted({*edges, *between})
