"""Words that people write over the columns of a sheet of marks, by what they mean.

Common practice, no source; English, German, French, Spanish, Italian, Portuguese and Dutch. A word
that means two things (a German *Note* is a grade, a French *note* a mark) is left out: it is asked.
"""

from __future__ import annotations

import re
import unicodedata

WORDS: dict[str, tuple[str, ...]] = {
    "student": (
        "student", "students", "candidate", "candidates", "examinee", "learner", "trainee",
        "student id", "student no", "student number", "student code", "candidate id",
        "candidate no", "candidate number", "id", "kandidat", "kandidatin", "kandidaten",
        "studierende", "studierender", "matrikelnummer", "prufling", "etudiant", "etudiante",
        "candidat", "candidate numero", "estudiante", "alumno", "alumna", "candidato", "studente",
        "matricola", "aluno", "estudante", "kandidaat",
    ),
    "station": (
        "station", "stations", "case", "task", "station name", "station no", "station number",
        "aufgabe", "posten", "poste", "estacion", "stazione", "estacao",
    ),
    "examiner": (
        "examiner", "assessor", "marker", "rater", "examiner id", "examiner code", "prufer",
        "pruferin", "beurteiler", "examinateur", "examinatrice", "evaluateur", "examinador",
        "evaluador", "esaminatore", "avaliador", "beoordelaar",
    ),
    "mark": (
        "mark", "marks", "score", "points", "total score", "station score", "station mark",
        "punkte", "punktzahl", "points obtenus", "puntuacion", "puntos", "punteggio", "punti",
        "pontuacao", "pontos", "punten",
    ),
    "maximum": (
        "maximum", "max", "out of", "possible", "max mark", "max score", "max marks",
        "maximum mark", "maximum score", "maximalpunkte", "hochstpunktzahl", "points possibles",
        "maximo", "puntuacion maxima", "massimo", "punteggio massimo",
    ),
    "global_rating": (
        "global rating", "rating", "global", "global score", "global grade", "overall rating",
        "overall judgement", "gesamturteil", "globalurteil", "appreciation globale",
        "valoracion global", "giudizio globale", "avaliacao global", "globaal oordeel",
    ),
    "item": ("item", "criterion", "question", "kriterium", "critere", "criterio"),
    "weight": ("weight", "gewicht", "poids", "peso"),
    "critical_error": ("critical error", "critical", "serious error", "kritischer fehler"),
    "circuit": ("circuit", "track", "parcours", "circuito"),
    "session": ("session", "half day", "sitzung", "sesion", "sessione", "sessao"),
    "sitting": ("sitting", "exam", "examination date"),
    "time": ("time", "start", "uhrzeit", "heure", "hora", "ora"),
    "domain": ("domain", "competence", "competency", "skill", "bereich", "domaine", "dominio"),
    "stage": ("stage", "phase", "abschnitt", "etape", "etapa", "fase"),
    "group": ("group", "gruppe", "groupe", "grupo", "gruppo", "cohort"),
    "comment": ("comment", "comments", "remarks", "kommentar", "bemerkung", "commentaire",
                "comentario", "commento", "opmerking", "name", "surname", "first name"),
}  # fmt: skip

TOTAL_WORDS = frozenset({
    "total", "totals", "sum", "mean", "average", "avg", "median", "sd", "stdev", "min", "minimum",
    "pass", "passed", "n", "count", "summe", "mittelwert", "durchschnitt", "somme", "moyenne",
    "suma", "media", "promedio", "somma", "soma", "gemiddelde", "totaal", "gesamt", "pass mark",
    "cut score", "standard deviation",
})  # fmt: skip
MAXIMUM_WORDS = frozenset(WORDS["maximum"])
# Columns that the marks themselves make: never a station.
MADE_WORDS = TOTAL_WORDS | {"percent", "percentage", "result", "decision", "rank", "grade total",
                            "prozent", "pourcentage", "porcentaje", "percentuale"}  # fmt: skip
ABSENT_WORDS = frozenset({
    "abs", "absent", "absence", "dna", "dns", "did not attend", "did not sit", "no show", "-", "--",
    "#n/a", "n/a", "na", "not seen", "withdrawn", "sick", "ill", "krank", "abwesend", "fehlt",
    "assente", "ausente", "ausencia", "afwezig",
})  # fmt: skip


def plain_words(text: object) -> str:
    """A heading as it is compared: lower case, no accents, no marks, single spaces."""
    bare = unicodedata.normalize("NFKD", str(text)).encode("ascii", "ignore").decode()
    return re.sub(r"[\s_\-./:#*()]+", " ", bare.casefold()).strip()


_MEANING = {word: role for role, words in WORDS.items() for word in words}


def meaning_of(text: object) -> str:
    """What a heading means, or "" when the word is not known."""
    return _MEANING.get(plain_words(text), "")
