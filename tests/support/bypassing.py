"""Finds, by syntax tree, the sentences a person is shown that did not go through the catalogue.

A text is followed back from where it is shown: through names, tables, conditions, f-strings, loops
over what is written out, and what functions of ours return, also in tuples.  A parameter that is
shown makes whatever is given for it a text that is shown.  What an object holds, and what comes
from a library, is not followed.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


ROOT_ERROR: Final = "photocheck.errors.PhotocheckError"
TRANSLATING: Final = {"photocheck.speech.tr": 1, "photocheck.speech.tr_n": 2}
"""How many arguments of each are looked up; the rest fills them in."""
CLICK: Final = {
    f"click.{name}": ("message", "text")
    for name in (
        *("echo", "secho", "confirm", "prompt", "echo_via_pager"),
        *("ClickException", "UsageError", "BadParameter", "BadArgumentUsage", "BadOptionUsage"),
    )
}
SHOWING: Final = _words(
    "altair_chart badge button camera_input caption chat_input checkbox code color_picker "
    "container data_editor dataframe date_input dialog download_button error exception expander "
    "feedback file_uploader form_submit_button header help html image info json latex link_button "
    "markdown metric multiselect number_input Page page_link pills popover progress radio "
    "segmented_control select_slider selectbox set_page_config slider spinner status subheader "
    "success table tabs text text_area text_input time_input title toast toggle warning "
    "write"
)
"""Methods of Streamlit and of its containers that show text."""
FIELDS: Final = _words(
    "sentence instruction headline reason reasons remark remarks caution cautions problem problems "
    "said advice action"
)
"""Fields of our own classes that people read."""
NOT_READ: Final = frozenset({"photocheck.judge.explanations.Kind.reason"})
"""Of those, what only contributors read."""
SHOWN_OPTIONS: Final = _words(
    "label body help placeholder caption captions text page_title title format_func options"
)
_KEPT: Final = _words(
    "str sorted reversed list tuple html.escape textwrap.dedent textwrap.fill textwrap.indent "
    "textwrap.wrap"
)
"""Functions that give back the text they are given."""
_METHODS: Final = _words(
    "capitalize expandtabs format ljust lower lstrip removeprefix removesuffix replace rjust "
    "rstrip strip title translate upper zfill"
)
"""Methods of a text that give back that text."""
_NO_WORDS: Final = frozenset(
    {"photocheck", "px", "mm", "cm", "kg", "lb", "in", "csv", "json", "utc"}
)
"""Not English: the program's name, signs of units, kinds of files."""
_NOT_SAID: Final = re.compile(
    r"<style.*?</style>|[\w-]+\.[a-z]{2,5}(?!\w)|<[^<>]*>?|&\w+;|:material/\w+:|:\w+\["
    r"|--?[a-z][\w-]*|[a-z]+_\w+|[./]\w+",
    re.DOTALL,
)
"""Tags, entities, icons, colours, options, names with an underline, paths and files."""

Function = ast.FunctionDef | ast.AsyncFunctionDef

EACH: Final = -1
ENTRY: Final = -2
Way = tuple[int | str, ...]
"""The way into what an expression gives: the place in a tuple, the key in a table, each item as a
loop has them (`EACH`), or the entry of a table or list that some key names (`ENTRY`)."""
LONGEST_WAY: Final = 4
SHOWN: Final = "shown"
KEPT: Final = "kept"
PART: Final = "part"
"""What becomes of a text: it is shown as it is; it is kept in a field and said from there, so that
`later` is as good as `tr`; it is filled into a text that is looked up, where a single word may be
a name as it is typed in files, but several words are English."""
Parameter = tuple[str, Way]
"""Its name, and the way to what of it is meant."""
_ADDED: Final[Way] = (-3,)
"""Not the value itself: it becomes an item of it; a key may follow, under which it is kept."""


@dataclass(frozen=True)
class Found:
    """A text that is shown as it was written.

    Attributes
    ----------
    path : str
    line : int
        Where the text stands.
    text : str
    """

    path: str
    line: int
    text: str

    def __str__(self) -> str:
        return f"{self.path}:{self.line}: {self.text!r}"


def sources(root: Path, *folders: str) -> dict[str, str]:
    """Text of every module below the folders, by its path from `root`."""
    return {
        path.relative_to(root).as_posix(): path.read_text(encoding="utf-8")
        for folder in folders
        for path in sorted((root / folder).rglob("*.py"))
    }


def bypassing(
    texts: Mapping[str, str], *, exempt: Sequence[str] = (), names: Collection[str] = ()
) -> list[Found]:
    """Every text that is shown without having been looked up.

    Parameters
    ----------
    texts : mapping of path to source text
        Paths from the checkout's root.
    exempt : sequence of str
        Paths and folders whose texts may stay English; they are read all the same, for others
        may use what is defined there.
    names : collection of str
        Texts that are no language: what is typed in files and options.
    """
    search = _Search({path: _Module(path, ast.parse(text)) for path, text in texts.items()})
    found = {
        item for item in search.run() if item.text not in names and not _below(item.path, exempt)
    }
    return sorted(found, key=lambda item: (item.path, item.line, item.text))


def _below(path: str, folders: Sequence[str]) -> bool:
    return any(path == folder or path.startswith(folder + "/") for folder in folders)


def is_said(text: str) -> bool:
    """Whether a text has words of a language in it."""
    words = re.findall(r"[A-Za-z]{2,}", _NOT_SAID.sub(" ", text))
    return any(word.lower() not in _NO_WORDS for word in words)


class _Module:
    """A file: its name as it is imported, what it defines, and which function holds what."""

    def __init__(self, path: str, tree: ast.Module) -> None:
        self.path, self.tree = path, tree
        name = path.removeprefix("app/").removesuffix(".py").replace("/", ".")
        self.is_package = name.endswith(".__init__")
        self.name = name.removesuffix(".__init__")
        self.holder: dict[ast.AST, Function | ast.Lambda | ast.ClassDef | None] = {}
        self.inner: dict[ast.AST | None, dict[str, Function]] = {}
        self.defined: dict[str, ast.AST] = {}
        self.imported: dict[str, str] = {}
        self.calls: list[ast.Call] = []
        self._walk(tree)
        self.set = _settings_outside(tree)
        for node in tree.body:
            for item in _blocks(node):
                if isinstance(item, Function | ast.ClassDef):
                    self.defined[item.name] = item

    def _walk(self, tree: ast.Module) -> None:
        """Once over the tree, without the marks of loading, storing and reckoning."""
        around: list[tuple[ast.AST, Function | ast.Lambda | ast.ClassDef | None]] = [(tree, None)]
        while around:
            node, holder = around.pop()
            if node is not tree:
                self.holder[node] = holder
                self._note(node, holder)
                if isinstance(node, Function | ast.Lambda | ast.ClassDef):
                    holder = node
            for part in reversed(node._fields):
                held = getattr(node, part, None)
                for child in reversed(held) if isinstance(held, list) else (held,):
                    if isinstance(child, ast.AST) and child._fields:
                        around.append((child, holder))

    def _note(self, child: ast.AST, holder: Function | ast.Lambda | ast.ClassDef | None) -> None:
        if isinstance(child, ast.Call):
            self.calls.append(child)
        elif isinstance(child, Function):
            self.inner.setdefault(holder, {})[child.name] = child
        elif isinstance(child, ast.Import):
            for alias in child.names:
                name = alias.asname or alias.name.partition(".")[0]
                self.imported[name] = alias.name if alias.asname else name
        elif isinstance(child, ast.ImportFrom):
            source = self._source(child)
            for alias in child.names:
                self.imported[alias.asname or alias.name] = f"{source}.{alias.name}"

    def _source(self, node: ast.ImportFrom) -> str:
        if not node.level:
            return node.module or ""
        parts = self.name.split(".")
        up = node.level - (1 if self.is_package else 0)
        return ".".join([*parts[: len(parts) - up], *([node.module] if node.module else [])])

    def functions_around(self, node: ast.AST) -> Iterator[Function | ast.Lambda]:
        holder = self.holder.get(node)
        while holder is not None:
            if not isinstance(holder, ast.ClassDef):
                yield holder
            holder = self.holder.get(holder)

    def class_around(self, node: ast.AST) -> ast.ClassDef | None:
        holder = self.holder.get(node)
        while holder is not None and not isinstance(holder, ast.ClassDef):
            holder = self.holder.get(holder)
        return holder


def _blocks(node: ast.AST) -> Iterator[ast.AST]:
    """A statement and, for conditions and the like, those in it; not those of functions."""
    yield node
    if isinstance(node, ast.If | ast.Try | ast.With | ast.For | ast.While):
        for child in ast.iter_child_nodes(node):
            yield from _blocks(child)


@dataclass
class _Search:
    modules: dict[str, _Module]
    found: set[Found] = field(default_factory=set)
    given_on: dict[str, dict[tuple[str, str], set[Parameter]]] = field(
        default_factory=lambda: {SHOWN: {}, KEPT: {}, PART: {}}
    )
    """Parameters by what becomes of what is given for them, and by module and function."""
    _of_ours: list[tuple[_Module, tuple[str, str], dict[str, ast.expr]]] = field(
        default_factory=list
    )
    """Every call of a function of ours: where, which, and what it is given."""
    _set: dict[ast.AST, dict[str, list[tuple[ast.expr, Way]]]] = field(default_factory=dict)
    _names: dict[ast.AST, str] = field(default_factory=dict)
    _called: dict[ast.Call, tuple[_Module, Function] | None] = field(default_factory=dict)
    """What names in functions are set to, where names are defined, and what calls call."""
    _came_back: dict[tuple[int, Way, str], set[tuple[str, Way]]] = field(default_factory=dict)
    _returning: tuple[Function, tuple[int, Way, str]] | None = None
    """The function whose return is being followed; its parameters are what a call gives."""
    _seen: set[tuple[int, Way, int, str]] = field(default_factory=set)
    _use: str = SHOWN
    """What becomes of the text that is being followed."""
    _site: tuple[_Module, ast.expr] | None = None
    """Where a table or constant of the module's is used, while that is being followed."""

    def __post_init__(self) -> None:
        self.by_name = {module.name: module for module in self.modules.values()}

    def run(self) -> set[Found]:
        for module in self.modules.values():
            for call in module.calls:
                self._look_at(module, call)
        known = -1
        while known < (
            now := sum(len(s) for each in self.given_on.values() for s in each.values())
        ):
            known = now
            for call in self._of_ours:
                self._give_on(*call)
        return self.found

    def _look_at(self, module: _Module, call: ast.Call) -> None:
        for use, texts in (
            (SHOWN, self._texts_of(module, call)),
            (KEPT, self._fields_of(module, call)),
            (PART, self._filled_in(module, call)),
        ):
            self._use = use
            for text in texts:
                self._follow(module, text)
        target = self._function(module, call)
        if target is not None:
            home, function = target
            self._of_ours.append((module, (home.name, function.name), _bound(function, call)))
            self._give_on(*self._of_ours[-1])

    def _give_on(
        self, module: _Module, called: tuple[str, str], given: dict[str, ast.expr]
    ) -> None:
        """Follow what a call gives for parameters of which something becomes."""
        for use, functions in self.given_on.items():
            self._use = use
            for parameter, way in list(functions.get(called, ())):
                if parameter in given:
                    self._follow(module, given[parameter], way)

    # --- what a call shows ---------------------------------------------------

    def _texts_of(self, module: _Module, call: ast.Call) -> Iterator[ast.expr]:
        name = self._full_name(module, call.func)
        named = {word.arg: word.value for word in call.keywords if word.arg}
        if name in CLICK:
            yield from call.args[:1]
            yield from (named[key] for key in CLICK[name] if key in named)
        elif self._is_error(name) or self._calls_error_above(module, call):
            yield from call.args[:1]
            yield from (named[key] for key in ("wrong", "do") if key in named)
        elif self._is_streamlit(module, call.func):
            yield from call.args[:1]
            for key, value in named.items():
                if key == "options":
                    # What is chosen among is often keys, which `format_func` says.
                    if "format_func" not in named:
                        yield value
                elif key in SHOWN_OPTIONS:
                    yield value.body if isinstance(value, ast.Lambda) else value

    def _fields_of(self, module: _Module, call: ast.Call) -> Iterator[ast.expr]:
        """What goes into a field of ours that people read."""
        name = self._full_name(module, call.func)
        home, _, own = name.rpartition(".")
        held = self.by_name[home].defined.get(own) if home in self.by_name else None
        if isinstance(held, ast.ClassDef):
            fields = [
                item.target.id
                for item in held.body
                if isinstance(item, ast.AnnAssign) and isinstance(item.target, ast.Name)
            ]
            given = dict(zip(fields, call.args, strict=False))
            given |= {word.arg: word.value for word in call.keywords if word.arg}
            for title in FIELDS & given.keys():
                if f"{name}.{title}" not in NOT_READ:
                    yield given[title]

    def _filled_in(self, module: _Module, call: ast.Call) -> Iterator[ast.expr]:
        """What is filled into a text that is looked up, which itself must be written out."""
        looked_up = TRANSLATING.get(self._full_name(module, call.func), 0)
        for text in call.args[:looked_up]:
            if isinstance(text, ast.JoinedStr | ast.BinOp):
                self._note(module, text, ast.unparse(text))
        if looked_up:
            yield from (word.value for word in call.keywords)

    def _is_streamlit(self, module: _Module, func: ast.expr) -> bool:
        if isinstance(func, ast.Name):
            home, _, own = self._full_name(module, func).rpartition(".")
            return home == "streamlit" and own in SHOWING
        if not isinstance(func, ast.Attribute) or func.attr not in SHOWING:
            return False
        root = func.value
        while isinstance(root, ast.Attribute | ast.Call | ast.Subscript):
            root = root.func if isinstance(root, ast.Call) else root.value
        if not isinstance(root, ast.Name):
            return False
        source = module.imported.get(root.id)
        if source is not None:
            return source.partition(".")[0] == "streamlit"
        # A container that was given a name, where Streamlit is in use.
        return "streamlit" in {full.partition(".")[0] for full in module.imported.values()}

    def _is_error(self, name: str) -> bool:
        return name == ROOT_ERROR or any(self._is_error(base) for base in self._bases(name))

    def _bases(self, name: str) -> list[str]:
        home, _, own = name.rpartition(".")
        module = self.by_name.get(home)
        node = module.defined.get(own) if module else None
        if module is None or not isinstance(node, ast.ClassDef):
            return []
        return [base for item in node.bases if (base := self._full_name(module, item)) != name]

    def _calls_error_above(self, module: _Module, call: ast.Call) -> bool:
        match call.func:
            case ast.Attribute(ast.Call(ast.Name("super")), "__init__"):
                held = module.class_around(call)
                return held is not None and any(
                    self._is_error(self._full_name(module, base)) for base in held.bases
                )
        return False

    # --- names ---------------------------------------------------------------

    def _full_name(self, module: _Module, node: ast.AST) -> str:
        """Where what a name means is defined, as far as imports tell; "" for anything else."""
        if node not in self._names:
            self._names[node] = self._found_name(module, node)
        return self._names[node]

    def _found_name(self, module: _Module, node: ast.AST) -> str:
        if isinstance(node, ast.Attribute):
            above = self._full_name(module, node.value)
            return self._settled(f"{above}.{node.attr}") if above else ""
        if isinstance(node, ast.Name):
            if node.id in module.imported:
                return self._settled(module.imported[node.id])
            if node.id in module.defined:
                return f"{module.name}.{node.id}"
            return node.id
        return ""

    def _settled(self, name: str) -> str:
        """The name by which a thing is defined, when a package only hands it on."""
        for _ in range(10):
            home, _, own = name.rpartition(".")
            module = self.by_name.get(home)
            if module is None or own in module.defined or own not in module.imported:
                return name
            name = module.imported[own]
        return name

    def _function(self, module: _Module, call: ast.Call) -> tuple[_Module, Function] | None:
        if call not in self._called:
            self._called[call] = self._found_function(module, call)
        return self._called[call]

    def _found_function(self, module: _Module, call: ast.Call) -> tuple[_Module, Function] | None:
        match call.func:
            case ast.Attribute(ast.Name("self" | "cls"), attr):
                held = module.class_around(call)
                for item in held.body if held else ():
                    if isinstance(item, Function) and item.name == attr:
                        return module, item
                return None
            case ast.Name(own):
                for around in module.functions_around(call):
                    if own in (inner := module.inner.get(around, {})):
                        return module, inner[own]
        home, _, own = self._full_name(module, call.func).rpartition(".")
        defining = self.by_name.get(home)
        node = defining.defined.get(own) if defining else None
        return (defining, node) if defining and isinstance(node, Function) else None

    # --- following a text back ----------------------------------------------

    def _follow(self, module: _Module, node: ast.expr, way: Way = ()) -> None:
        """Note what of an expression is shown as written; `way` says which of its parts is."""
        site = id(self._site[1]) if self._site else 0
        key = (id(node), way, site, self._use)
        if key in self._seen or len(way) > LONGEST_WAY:
            return
        self._seen.add(key)
        match node:
            case ast.Tuple(items) | ast.List(items) | ast.Set(items):
                for k, item in enumerate(items):
                    if isinstance(item, ast.Starred):
                        self._follow(module, item.value, way)
                    elif not way or way[0] in (k, EACH, ENTRY):
                        self._follow(module, item, way[1:])
            case ast.Dict(keys, values):
                for entry, value in zip(keys, values, strict=True):
                    if entry is None:
                        self._follow(module, value, way)
                    elif not way or _may_be(entry, way[0]):
                        self._follow(module, value, way[1:])
            case ast.Constant(str() as text):
                if not way and is_said(text) and (self._use != PART or " " in text.strip()):
                    self._note(module, node, text)
            case ast.JoinedStr(values):
                whole = "".join(
                    str(v.value) if isinstance(v, ast.Constant) else "0" for v in values
                )
                if is_said(whole):
                    self._note(module, node, ast.unparse(node))
                for value in _read_parts(values):
                    self._follow(module, value)
            case ast.IfExp(_, one, other):
                self._follow(module, one, way)
                self._follow(module, other, way)
            case ast.BoolOp(_, values):
                for value in values:
                    self._follow(module, value, way)
            case ast.BinOp(left, ast.Mod(), right):
                self._follow(module, left, way)
                self._follow(module, right)
            case ast.BinOp(left, _, right):
                self._follow(module, left, way)
                self._follow(module, right, way)
            case ast.NamedExpr(_, value) | ast.Await(value) | ast.Starred(value):
                self._follow(module, value, way)
            case ast.Lambda(_, body):
                self._follow(module, body, way)
            case ast.ListComp(elt) | ast.GeneratorExp(elt) | ast.SetComp(elt):
                self._follow(module, elt, way[1:])
            case ast.DictComp(_, value):
                self._follow(module, value, way[1:])
            case ast.Subscript(value, ast.Slice()):
                self._follow(module, value, way)
            case ast.Subscript(value, ast.Constant(int() | str() as k)):
                self._follow(module, value, (k, *way))
            case ast.Subscript(value, _):
                self._follow(module, value, (ENTRY, *way))
            case ast.Call():
                self._follow_call(module, node, way)
            case ast.Name():
                self._follow_name(module, node, way)
            case ast.Attribute():
                self._follow_constant(module, node, self._full_name(module, node), way)

    def _follow_call(self, module: _Module, call: ast.Call, way: Way) -> None:
        name = self._full_name(module, call.func)
        if name in TRANSLATING:
            use, self._use = self._use, PART
            for word in call.keywords:
                self._follow(module, word.value)
            self._use = use
            return
        if name == "photocheck.speech.later":
            if self._use != KEPT:
                self._follow(module, call.args[0])  # marked, and then never said
            return
        match call.func, call.args, way:
            case ast.Attribute(_, "join"), [several], _:
                self._follow(module, several, (EACH,))
                return
            case ast.Attribute(table, "get" | "pop"), [entry, *others], _ if len(others) < 2:
                told = entry.value if isinstance(entry, ast.Constant) else None
                step = told if isinstance(told, (int, str)) else ENTRY
                self._follow(module, table, (step, *way))
                for other in others:
                    self._follow(module, other, way)
                return
            case ast.Attribute(table, "values"), [], (_, *rest):
                self._follow(module, table, (ENTRY, *rest))
                return
            case ast.Attribute(table, "items"), [], (_, 1, *rest):
                self._follow(module, table, (ENTRY, *rest))
                return
            case ast.Attribute(text, attr), arguments, _ if attr in _METHODS:
                self._follow(module, text)
                if attr == "format":
                    for argument in (*arguments, *(word.value for word in call.keywords)):
                        self._follow(module, argument)
                return
            case ast.Name("enumerate"), [several, *_], (_, 1, *rest):
                self._follow(module, several, (EACH, *rest))
                return
            case ast.Name("zip"), several, (_, int() as k, *rest) if k < len(several):
                self._follow(module, several[k], (EACH, *rest))
                return
        if name in _KEPT:
            for argument in call.args:
                self._follow(module, argument, way)
            return
        target = self._function(module, call)
        if target is None:
            return
        given = _bound(target[1], call)
        for parameter, further in self._returned(*target, way):
            if parameter in given:
                self._follow(module, given[parameter], further)

    def _returned(self, home: _Module, function: Function, way: Way) -> set[tuple[str, Way]]:
        """Follow what a function returns; the parameters that come back in it."""
        key = (id(function), way, self._use)
        if key not in self._came_back:
            self._came_back[key] = set()  # for those that call themselves
            kept = self._returning, self._seen, self._site
            self._returning, self._seen, self._site = (function, key), set(), None
            for node in ast.walk(function):
                if home.holder.get(node) is not function and node is not function:
                    continue
                if isinstance(node, ast.Return) and node.value is not None:
                    self._follow(home, node.value, way)
                elif isinstance(node, ast.Yield) and node.value is not None:
                    self._follow(home, node.value, way[1:])
            self._returning, self._seen, self._site = kept
        return self._came_back[key]

    def _follow_name(self, module: _Module, node: ast.Name, way: Way) -> None:
        for function in module.functions_around(node):
            if self._follow_local(module, function, node, way):
                return
        name = module.imported.get(node.id, f"{module.name}.{node.id}")
        self._follow_constant(module, node, name, way)

    def _follow_local(
        self, module: _Module, function: Function | ast.Lambda, name: ast.Name, way: Way
    ) -> bool:
        """Follow what a name is set to in a function; whether it is one of the function's."""
        if function not in self._set:
            self._set[function] = _settings(function)
        values = self._set[function].get(name.id, [])
        self._follow_all(module, values, way)
        arguments = function.args
        parameters = [*arguments.posonlyargs, *arguments.args, *arguments.kwonlyargs]
        if any(item.arg == name.id for item in parameters):
            if self._returning is not None and self._returning[0] is function:
                self._came_back[self._returning[1]].add((name.id, way))
            elif isinstance(function, Function):
                parameters_of = self.given_on[self._use]
                parameters_of.setdefault((module.name, function.name), set()).add((name.id, way))
            if name.id in (otherwise := _defaults(arguments)):
                self._follow(module, otherwise[name.id], way)
            return True
        return bool(values)

    def _follow_constant(self, user: _Module, use: ast.expr, name: str, way: Way) -> None:
        home, _, own = self._settled(name).rpartition(".")
        module = self.by_name.get(home)
        if module is None:
            return
        site, self._site = self._site, self._site or (user, use)
        self._follow_all(module, module.set.get(own, []), way)
        self._site = site

    def _follow_all(
        self, module: _Module, values: Sequence[tuple[ast.expr, Way]], way: Way
    ) -> None:
        for value, first in values:
            if first[:1] != _ADDED:
                self._follow(module, value, (*first, *way))
            elif first == _ADDED or not way or way[0] in (first[1], ENTRY):
                self._follow(module, value, way[1:])

    def _note(self, module: _Module, node: ast.expr, text: str) -> None:
        if self._site is not None:
            module, node = self._site
        self.found.add(Found(module.path, node.lineno, " ".join(text.split())))


def _may_be(entry: ast.expr, key: int | str) -> bool:
    """Whether an entry of a table is what a key names; a loop through a table has its keys."""
    return key != EACH and (
        key == ENTRY or not isinstance(entry, ast.Constant) or entry.value == key
    )


def _read_parts(values: Sequence[ast.expr]) -> Iterator[ast.expr]:
    """What is filled into an f-string; of what stands inside a tag, only what is read out."""
    before = ""
    for value in values:
        if isinstance(value, ast.Constant):
            before += str(value.value)
        elif isinstance(value, ast.FormattedValue):
            inside = before.rfind("<") > before.rfind(">")
            if not inside or before.endswith(('title="', 'alt="', 'aria-label="')):
                yield value.value


def _defaults(arguments: ast.arguments) -> dict[str, ast.expr]:
    placed = [*arguments.posonlyargs, *arguments.args]
    pairs = [
        *zip(reversed(placed), reversed(arguments.defaults), strict=False),
        *zip(arguments.kwonlyargs, arguments.kw_defaults, strict=True),
    ]
    return {item.arg: value for item, value in pairs if value is not None}


def _bound(function: Function, call: ast.Call) -> dict[str, ast.expr]:
    """What a call gives for each parameter."""
    arguments = function.args
    names = [item.arg for item in (*arguments.posonlyargs, *arguments.args)]
    if names and names[0] in ("self", "cls"):
        names = names[1:]
    bound = dict(zip(names, call.args, strict=False))
    bound |= {word.arg: word.value for word in call.keywords if word.arg}
    return bound


def _settings_outside(tree: ast.Module) -> dict[str, list[tuple[ast.expr, Way]]]:
    """The same of a module, without what its functions and classes set."""
    found: dict[str, list[tuple[ast.expr, Way]]] = {}
    for statement in tree.body:
        if not isinstance(statement, Function | ast.ClassDef):
            for name, values in _settings(statement).items():
                found.setdefault(name, []).extend(values)
    return found


def _settings(tree: ast.AST) -> dict[str, list[tuple[ast.expr, Way]]]:
    """Everything a piece of code sets names to: an expression, and the way to the part meant."""
    found: dict[str, list[tuple[ast.expr, Way]]] = {}
    for node in ast.walk(tree):
        first: Way = ()
        targets: list[ast.expr] = []
        match node:
            case ast.Assign(targets, value):
                pass
            case ast.AnnAssign(target, _, ast.expr() as value) | ast.AugAssign(target, _, value):
                targets = [target]
            case ast.NamedExpr(target, value):
                targets = [target]
            case ast.For(target, value) | ast.comprehension(target, value):
                targets, first = [target], (EACH,)
            case ast.Call(ast.Attribute(ast.Name(own), "append" | "add"), [value]):
                found.setdefault(own, []).append((value, _ADDED))
            case ast.Call(ast.Attribute(ast.Name(own), "insert"), [_, value]):
                found.setdefault(own, []).append((value, _ADDED))
            case ast.Call(ast.Attribute(ast.Name(own), "extend"), [value]):
                found.setdefault(own, []).append((value, ()))
        for target in targets:
            for own, way in _named(target):
                found.setdefault(own, []).append((value, (*first, *way)))
    return found


def _named(target: ast.expr) -> Iterator[tuple[str, Way]]:
    match target:
        case ast.Name(own):
            yield own, ()
        case ast.Subscript(ast.Name(own), ast.Constant(str() as key)):
            yield own, (*_ADDED, key)
        case ast.Subscript(ast.Name(own), _):
            yield own, _ADDED
        case ast.Tuple(items) | ast.List(items):
            for k, item in enumerate(items):
                yield from ((own, (k, *way)) for own, way in _named(item))
