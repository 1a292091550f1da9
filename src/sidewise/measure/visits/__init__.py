"""One person over several visits: change beyond error, and the course."""
