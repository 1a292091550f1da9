// What a new finding takes the place of, at the same item, side, mode and reading number: the one
// rule of every way of entering, the same as `takes_the_place_of` of a finding at the server. Which
// kinds of value stand in for each other, and which add up, the server says in the page.

const { groups, addUp } = JSON.parse(document.querySelector("meta[name='value-groups']").content);

export const groupOf = (finding) => {
  if ((finding.status ?? "examined") !== "examined") return "status";
  const { kind } = finding.value;
  return groups[kind] ?? kind;
};

// Both are groups. Marks on the figure add up; a status and a value take each other's place.
export const takesThePlace = (mine, held) =>
  mine === held ? !addUp.includes(mine) : mine === "status" || held === "status";
