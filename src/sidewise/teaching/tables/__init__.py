"""Tables of marks, findings and judges: read whole, checked, accepted or refused."""
