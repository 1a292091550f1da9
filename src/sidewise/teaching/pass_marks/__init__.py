"""Pass marks by students' results and by judges, and the decisions that follow."""
