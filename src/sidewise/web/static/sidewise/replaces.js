// What a new finding takes the place of, at the same item, side, mode and reading number: the one
// rule of every way of entering, the same as `takes_the_place_of` of a finding at the server.

export const groupOf = (finding) => {
  if ((finding.status ?? "examined") !== "examined") return "status";
  const kind = finding.value.kind;
  return ["angle", "normal_by_eye", "level"].includes(kind) ? "range" : kind;
};

// Both are groups. Marks on the figure add up; a status and a value take each other's place.
export const takesThePlace = (mine, held) =>
  mine === held ? mine !== "place" : mine === "status" || held === "status";
