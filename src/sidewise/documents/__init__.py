"""Papers that leave the house: the note as PDF, a letter of one page, a leaflet in plain words."""
