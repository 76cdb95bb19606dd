"""One infusion after an incident: everything the log holds of it, in one document."""

from analysis.incident import facts, sections
from analysis.incident.handed import what_was_read
from analysis.incident.opened import open_incident
from analysis.incident.publish import (
    Files,
    check_incident_folder,
    default_folder,
    publish_incident,
)
from analysis.incident.review import Asked, Incident, find_infusion, review_incident

__all__ = [
    "Asked",
    "Files",
    "Incident",
    "check_incident_folder",
    "default_folder",
    "facts",
    "find_infusion",
    "open_incident",
    "publish_incident",
    "review_incident",
    "sections",
    "what_was_read",
]
