"""Files of a rulebook that were parsed before, by their content: of a folder in which one file changed, only
that one is parsed. Where a value stands in a file is looked up by parsing it, for few are ever told."""

import hashlib
from collections.abc import Iterator, Mapping
from functools import cached_property
from pathlib import Path as FilePath

from triage.rulebook.reading.reader import content_of
from triage.values.plain_data import Path
from triage.values.yaml_source import Place, Source, read_yaml


class ParsedFiles:
    """`known` is plain data by the digest of the content it was parsed from; `seen` what was read since."""

    def __init__(self, known: Mapping[str, object]) -> None:
        self._known = known
        self.seen: dict[str, object] = {}

    def read(self, path: FilePath, file: str) -> Source:
        """As `read_file`."""
        content = content_of(path, file)
        digest = hashlib.sha256(content).hexdigest()
        if digest in self._known:
            parsed = _Parsed(content, file)
            source = Source(self._known[digest], _Later(parsed, "values"), _Later(parsed, "keys"))
        else:
            source = read_yaml(content, file)
        self.seen[digest] = source.data
        return source


class _Parsed:
    def __init__(self, content: bytes, file: str) -> None:
        self._content, self._file = content, file

    @cached_property
    def source(self) -> Source:
        return read_yaml(self._content, self._file)


class _Later(Mapping[Path, Place]):
    """The places of a file's values or keys, parsed when the first is asked for."""

    def __init__(self, parsed: _Parsed, which: str) -> None:
        self._parsed, self._which = parsed, which

    def _places(self) -> Mapping[Path, Place]:
        places: Mapping[Path, Place] = getattr(self._parsed.source, self._which)
        return places

    def __getitem__(self, path: Path) -> Place:
        return self._places()[path]

    def __iter__(self) -> Iterator[Path]:
        return iter(self._places())

    def __len__(self) -> int:
        return len(self._places())
