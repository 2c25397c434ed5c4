"""The Table Schema of every log as files: of the log as written, and of the canonical CSV."""

import json
from collections.abc import Iterable
from pathlib import Path

from benchwater.export.table_schema import Descriptor, canonical_schema, written_schema
from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import LogKind


def write_schemas(kinds: Iterable[LogKind], bench: Bench | None, folder: Path) -> tuple[Path, ...]:
    """Write `<log>.schema.json` and `<log>.canonical.schema.json` of each log, each file whole."""
    from benchwater.render.write import write_whole

    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    for kind in kinds:
        written.append(
            write_whole(folder / f"{kind.name}.schema.json", json_bytes(written_schema(kind, bench)))
        )
        canonical = canonical_schema(kind, bench)
        written.append(write_whole(folder / f"{kind.name}.canonical.schema.json", json_bytes(canonical)))
    return tuple(written)


def json_bytes(descriptor: Descriptor) -> bytes:
    """A descriptor as the same bytes every time."""
    return f"{json.dumps(descriptor, ensure_ascii=False, indent=2)}\n".encode()
