"""One examination and what follows from it as a FHIR R4 document Bundle.

Which resource holds what, and why, stands in docs/fhir.md.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from html import escape
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from sidewise import __version__
from sidewise.errors import UserErrors
from sidewise.exchange.fhir.answers import answer_items
from sidewise.exchange.fhir.definitions import faults_of
from sidewise.exchange.fhir.names import (
    ACT,
    ACTIVITY,
    AGENT,
    DATA_OPERATION,
    DOCUMENT,
    FINDINGS,
    FLAG_CATEGORY,
    INTERVAL,
    OURS,
    UCUM,
    concept,
)
from sidewise.exchange.fhir.observation import observation
from sidewise.knowledge.region import Region
from sidewise.note.body import Line, line_words
from sidewise.note.document import APPENDIX, NotePart
from sidewise.note.text import note_document
from sidewise.protocol import Protocol, protocol_of
from sidewise.protocol.outside_codes import OutsideCode, outside_codes_of
from sidewise.reason.result import ConditionPosterior, Interpretation
from sidewise.record import Record
from sidewise.record.reading import record_document

IN_OWN_PLACE = ("patient", "sex", "examiner", "examined_at")
"""Fields of the context that have a place of their own in a resource; they stand there only."""
COMPUTED = "Computed from the findings; supports a licensed clinician and does not diagnose."


def bundle_json(
    record: Record, result: Interpretation, region: Region, codes: Iterable[OutsideCode] = ()
) -> str:
    """The document as JSON text. codes: a user's own, beside those of the region."""
    return json.dumps(document_bundle(record, result, region, codes), indent=1, ensure_ascii=False)


def document_bundle(
    record: Record, result: Interpretation, region: Region, codes: Iterable[OutsideCode] = ()
) -> dict[str, Any]:
    """The document Bundle. UserErrors where the record holds what R4 cannot."""
    made = _Document(record, result, region, tuple(codes)).bundle()
    if faults := list(bundle_faults(made)):
        raise UserErrors(faults)
    return made


def bundle_faults(bundle: Any) -> Iterator[Any]:
    """Everything in which a Bundle and its resources are not as R4 says."""
    yield from faults_of(bundle, "Bundle")
    entries = bundle.get("entry") if isinstance(bundle, dict) else None
    for number, entry in enumerate(entries if isinstance(entries, list) else ()):
        if isinstance(entry, dict) and "resource" in entry:
            yield from faults_of(entry["resource"], f"entry[{number}].resource")


class _Document:
    """Collects the resources of one document under their addresses."""

    def __init__(
        self, record: Record, result: Interpretation, region: Region, codes: tuple[OutsideCode, ...]
    ) -> None:
        self.record, self.result, self.region = record, result, region
        self.protocol: Protocol = protocol_of(region)
        every = (*outside_codes_of(region), *codes)
        self.codes = {(one.item, one.side, one.mode): one for one in every}
        self.entries: list[dict[str, Any]] = []
        self.when = record.context.examined_at.isoformat()
        self.is_final = record.signed is not None

    def url(self, name: str) -> str:
        """The address of a resource: the same for the same record and revision."""
        key = f"{OURS}{self.record.id}/{self.record.revision}/{name}"
        return f"urn:uuid:{uuid5(NAMESPACE_URL, key)}"

    def ref(self, name: str) -> dict[str, str]:
        """A reference to a resource of this document."""
        return {"reference": self.url(name)}

    def add(self, name: str, resource: dict[str, Any]) -> None:
        """One more resource."""
        self.entries.append({"fullUrl": self.url(name), "resource": resource})

    def bundle(self) -> dict[str, Any]:
        """The whole document, the Composition first."""
        self._people()
        self._findings()
        self._answers()
        self._conclusions()
        self._provenance()
        composition = {"fullUrl": self.url("composition"), "resource": self._composition()}
        return {
            "resourceType": "Bundle",
            "type": "document",
            "identifier": {
                "system": f"{OURS}record",
                "value": f"{self.record.id}/{self.record.revision}",
            },
            "timestamp": (self.record.signed.at if self.record.signed else
                          self.record.context.examined_at).isoformat(),
            "entry": [composition, *self.entries],
        }  # fmt: skip

    def _people(self) -> None:
        c = self.record.context
        patient: dict[str, Any] = {
            "resourceType": "Patient",
            "identifier": [{"system": f"{OURS}patient", "value": c.patient}],
        }
        if c.sex:
            patient["gender"] = c.sex
        self.add("patient", patient)
        self.add("examiner", _person(c.examiner))
        if self._signer() not in (None, c.examiner):
            self.add("signer", _person(str(self._signer())))
        self.add(
            "encounter",
            {
                "resourceType": "Encounter",
                "status": "finished" if self.is_final else "in-progress",
                "class": {"system": ACT, "code": "AMB"},
                "subject": self.ref("patient"),
                "participant": [{"individual": self.ref("examiner")}],
                "period": {"start": self.when},
            },
        )

    def _signer(self) -> str | None:
        return self.record.signed.by if self.record.signed else None

    def _signer_name(self) -> str:
        return "examiner" if self._signer() == self.record.context.examiner else "signer"

    def _of_patient(self, *, encounter: bool = True) -> dict[str, Any]:
        found: dict[str, Any] = {"subject": self.ref("patient")}
        return {**found, "encounter": self.ref("encounter")} if encounter else found

    def _findings(self) -> None:
        names = []
        for number, finding in enumerate(self.record.findings):
            made = observation(finding, self.protocol, self.codes)
            more = {
                "status": self._status(final="final", draft="preliminary"),
                "effectiveDateTime": self.when,
                "performer": [self.ref("examiner")],
            }
            self.add(f"finding-{number}", {**made, **self._of_patient(), **more})
            names.append(f"finding-{number}")
        self.observations = names
        report = {
            "resourceType": "DiagnosticReport",
            "status": self._status(final="final", draft="preliminary"),
            "code": {"coding": [FINDINGS], "text": "Physical findings"},
            **self._of_patient(),
            "effectiveDateTime": self.when,
            "performer": [self.ref("examiner")],
        }
        if names:
            report["result"] = [self.ref(name) for name in names]
        self.add("report", report)

    def _status(self, *, final: str, draft: str) -> str:
        if not self.is_final:
            return draft
        return "amended" if self.record.earlier else final

    def _answers(self) -> None:
        document = record_document(self.record)
        context = {k: v for k, v in document["context"].items() if k not in IN_OWN_PLACE}
        self._answer("context", context)
        if document.get("care"):
            self._answer("care", {"care": document["care"]})

    def _answer(self, name: str, data: dict[str, Any]) -> None:
        resource = {
            "resourceType": "QuestionnaireResponse",
            "identifier": {"system": f"{OURS}part", "value": name},
            "status": self._status(final="completed", draft="in-progress"),
            **self._of_patient(),
            "authored": self.when,
            "author": self.ref("examiner"),
        }
        if items := answer_items(data, self.protocol):
            resource["item"] = items
        self.add(name, resource)

    def _conclusions(self) -> None:
        written = self.record.conclusion
        impression: dict[str, Any] = {
            "resourceType": "ClinicalImpression",
            "status": "completed" if self.is_final else "in-progress",
            **self._of_patient(),
            "effectiveDateTime": self.when,
            "assessor": self.ref("examiner"),
        }
        if written.impression:
            impression["summary"] = written.impression
        if written.plan:
            impression["note"] = [{"text": step} for step in written.plan]
        if risks := list(self._risks()):
            impression["prognosisReference"] = [self.ref(name) for name in risks]
        self.add("impression", impression)
        for flag in self.result.red_flags:
            if flag.status == "raised":
                self.add(
                    f"flag-{flag.flag}",
                    {
                        "resourceType": "Flag",
                        "status": "active",
                        "category": [{"coding": [{"system": FLAG_CATEGORY, "code": "clinical"}]}],
                        "code": concept("flag", flag.flag, f"{flag.label} ({flag.urgency})"),
                        **self._of_patient(),
                        "period": {"start": self.when},
                        "author": self.ref("examiner"),
                    },
                )

    def _risks(self) -> Iterator[str]:
        groups = [(side, found.conditions) for side, found in self.result.sides.items()]
        groups.append(("", self.result.whole_person.conditions))
        if any(conditions for _, conditions in groups):
            self.add("engine", _engine(self.result))
        for side, conditions in groups:
            told = [one for one in conditions if one.posterior is not None]
            if told:
                name = f"risk-{side or 'whole'}"
                self.add(name, self._risk(side, told))
                yield name

    def _risk(self, side: str, conditions: list[ConditionPosterior]) -> dict[str, Any]:
        where = f"patient's {side}" if side else "whole person"
        found: dict[str, Any] = {
            "resourceType": "RiskAssessment",
            # Nobody has accepted it: it is an estimate beside the clinician's own impression.
            "status": "preliminary",
            "method": {
                "text": f"sidewise {__version__}, knowledge {self.result.knowledge_version}"
            },
            "code": {"text": f"what the findings may mean, {where}"},
            **self._of_patient(),
            "occurrenceDateTime": self.when,
            "performer": self.ref("engine"),
            "prediction": [_prediction(one) for one in conditions],
            "note": [{"text": COMPUTED}, *({"text": one} for one in self.result.cautions)],
        }
        if self.observations:
            found["basis"] = [self.ref(name) for name in self.observations]
        return found

    def _provenance(self) -> None:
        signed = self.record.signed
        if signed is None:
            return
        self.add(
            "signature",
            {
                "resourceType": "Provenance",
                "target": [self.ref("composition")],
                "recorded": signed.at.isoformat(),
                "activity": {"coding": [{"system": ACTIVITY, "code": "LA"}]},
                "agent": [_agent("legal", self.ref(self._signer_name()))],
            },
        )
        for revision in self.record.earlier:
            self.add(
                f"amended-{revision.number}",
                {
                    "resourceType": "Provenance",
                    "target": [self.ref("composition")],
                    "recorded": revision.amended_at.isoformat(),
                    "reason": [{"text": revision.reason}],
                    "activity": {"coding": [{"system": DATA_OPERATION, "code": "UPDATE"}]},
                    "agent": [_agent("author", {"display": revision.amended_by})],
                    "entity": [{"role": "revision", "what": {
                        "display": f"revision {revision.number}, signed by {revision.signed.by}"}}],
                },
            )  # fmt: skip

    def _composition(self) -> dict[str, Any]:
        document = note_document(self.record, self.result, self.region)
        found: dict[str, Any] = {
            "resourceType": "Composition",
            "status": self._status(final="final", draft="preliminary"),
            "type": {"coding": [DOCUMENT]},
            **self._of_patient(),
            "date": self.when,
            "author": [self.ref("examiner")],
            "title": document.heading[0],
            "section": [
                _section("examination", (*document.heading[1:], document.signature)),
                *(_part_section(one) for one in document.front),
                self._entry_section(),
                {
                    "title": APPENDIX,
                    "section": [_part_section(one) for one in document.appendix]
                    or [_section("nothing", ("Nothing was recorded.",))],
                },
            ],
        }
        if self.record.signed is not None:
            found["attester"] = [
                {
                    "mode": "professional",
                    "time": self.record.signed.at.isoformat(),
                    "party": self.ref(self._signer_name()),
                }
            ]
        return found

    def _entry_section(self) -> dict[str, Any]:
        entries = [{"reference": one["fullUrl"]} for one in self.entries]
        words = "The same as data: findings, answers, conclusions and who signed."
        return {**_section("data", (words,)), "entry": entries}


def _person(name: str) -> dict[str, Any]:
    return {"resourceType": "Practitioner", "name": [{"text": name}],
            "identifier": [{"system": f"{OURS}examiner", "value": name}]}  # fmt: skip


def _engine(result: Interpretation) -> dict[str, Any]:
    return {
        "resourceType": "Device",
        "deviceName": [{"name": "sidewise", "type": "model-name"}],
        "version": [{"value": __version__}, {"value": f"knowledge {result.knowledge_version}"}],
    }


def _agent(role: str, who: dict[str, str]) -> dict[str, Any]:
    return {"type": {"coding": [{"system": AGENT, "code": role}]}, "who": who}


def _prediction(one: ConditionPosterior) -> dict[str, Any]:
    found: dict[str, Any] = {"outcome": concept("condition", one.condition, one.label)}
    if one.low is not None and one.high is not None:
        interval = {"low": _percent(one.low), "high": _percent(one.high)}
        found["extension"] = [{"url": INTERVAL, "valueRange": interval}]
    found["probabilityDecimal"] = _rounded(one.estimate)
    found["rationale"] = (
        f"In percent, with a 95% interval in the extension; {_rounded(one.prior):g}% before the "
        f"findings. {COMPUTED}"
    )
    return found


def _rounded(probability: float) -> float:
    # No more digits than the intervals bear; never 0 or 100 where it is neither.
    return min(max(round(100 * probability, 1), 0.1), 99.9)


def _percent(probability: float) -> dict[str, Any]:
    return {"value": round(100 * probability, 1), "unit": "%", "system": UCUM, "code": "%"}


def _part_section(part: NotePart) -> dict[str, Any]:
    said = [line_words(one) if isinstance(one, Line) else one for one in part.entries]
    return _section(f"{part.title} ({part.remark})" if part.remark else part.title, said)


def _section(title: str, said: Iterable[str]) -> dict[str, Any]:
    body = "".join(f"<p>{escape(words, quote=False)}</p>" for words in said)
    div = f'<div xmlns="http://www.w3.org/1999/xhtml">{body}</div>'
    return {"title": title, "text": {"status": "generated", "div": div}}
