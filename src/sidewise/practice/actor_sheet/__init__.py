"""The sheet for a patient actor: what to say, what to show on which side, what to hand over."""

from sidewise.practice.actor_sheet.page import CARDS, REST, STOP, actor_page, actor_text
from sidewise.practice.actor_sheet.sheet import ActorSheet, actor_sheet

__all__ = ["CARDS", "REST", "STOP", "ActorSheet", "actor_page", "actor_sheet", "actor_text"]
