"""The people and the small protocol of these tests, from an invented island clinic."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sidewise.ground.provenance import Mark, Provenance
from sidewise.protocol import Item, Protocol
from sidewise.record import Record
from tests.shoulder import PROTOCOL

MOVES = ("flexion", "abduction", "scaption", "external_rotation_at_side", "external_rotation_at_90",
         "internal_rotation_at_90", "extension", "cross_body_adduction",
         "abduction_scapula_held")  # fmt: skip


def small_protocol() -> Protocol:
    """The movements, one force and the hand behind the back: all that measuring needs."""
    angle = ({"kind": "angle", "low": -90, "high": 190},)
    items = [_item(name, ("active", "passive"), angle) for name in MOVES]
    items.append(_item("abduction_strength", (), ({"kind": "force"},)))
    items.append(_item("internal_rotation_behind_back", ("active",), ({"kind": "level"},)))
    return Protocol(region="shoulder", label="shoulder", stages=PROTOCOL.stages, structures=(),
                    items=tuple(items), history=(), vitals=(), readings=(),
                    ladder=PROTOCOL.ladder)  # fmt: skip


def _item(name: str, modes: tuple[str, ...], kinds: Any) -> Item:
    return Item(
        id=name, label=name.replace("_", " "), stage="move", group="moving", paired=True,
        kinds=kinds, modes=modes, patient="Sitting.", examiner="Beside.",
        how="As the protocol has it, at length.", say="Lift your arm.",
        abnormal="Less than before.", mistakes=("none",), seconds=10, soreness=0,
        role="optional", basis=(Provenance(mark=Mark.COMMON_PRACTICE, source="a test"),),
    )  # fmt: skip


def angle(item: str, side: str, degrees: float, mode: str = "passive", instrument: str | None =
          "goniometer", **more: Any) -> dict[str, Any]:  # fmt: skip
    """One angle as a finding."""
    value = {"kind": "angle", "degrees": degrees, "instrument": instrument}
    value |= {key: more.pop(key) for key in ("sd",) if key in more}
    return {"item": item, "side": side, "mode": mode, "value": value, **more}


def force(side: str, newtons: float) -> dict[str, Any]:
    """One force as a finding."""
    value = {"kind": "force", "newtons": newtons}
    return {"item": "abduction_strength", "side": side, "value": value}


def level(side: str, name: str) -> dict[str, Any]:
    """One spinal level as a finding."""
    value = {"kind": "level", "level": name}
    return {"item": "internal_rotation_behind_back", "side": side, "mode": "active", "value": value}


def visit(*findings: dict[str, Any], day: str = "2026-03-02", **context: Any) -> Record:
    """HERON-1's examination on one day: 58, woman, right-handed, left side complains."""
    about = {"patient": "HERON-1", "examiner": "E1", "age": 58, "sex": "female",
             "dominant": "right", "complaint": ["left"], **context}  # fmt: skip
    about["examined_at"] = datetime.fromisoformat(day).replace(tzinfo=UTC)
    return Record.model_validate(
        {"id": f"test-{day}", "region": "shoulder", "context": about, "findings": findings}
    )
