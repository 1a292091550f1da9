"""What a test showed answers a question with yes: no flag is lost to where it was entered."""

from __future__ import annotations

from sidewise.protocol import Protocol
from sidewise.record import Investigation, Record


def record_with_results(record: Record, protocol: Protocol) -> Record:
    """The record with a yes for each question that an abnormal result answers.

    A normal result answers nothing: it may be of another day than the question means, and must not
    excuse. Where the question was answered differently, both stand, as in a dispute.
    """
    abnormal = {
        entry.name
        for entry in record.care
        if isinstance(entry, Investigation) and entry.outcome == "abnormal"
    }
    asked = [one.question for one in protocol.abnormal_results if one.name in abnormal]
    if not asked:
        return record
    context = record.context
    disputed = {
        field: values if "yes" in values else (*values, "yes")
        for field, values in context.disputed.items()
        if field.removeprefix("history.") in asked
    }
    changed = context.model_copy(
        update={
            "history": {**context.history, **dict.fromkeys(asked, "yes")},
            "disputed": {**context.disputed, **disputed},
        }
    )
    return record.model_copy(update={"context": changed})
