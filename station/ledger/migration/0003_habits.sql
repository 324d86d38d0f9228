-- How a person pours one part of one material. Personal data: it stands nowhere else, and rows are removed for good.
CREATE TABLE habits (
  operator TEXT NOT NULL,
  material TEXT NOT NULL,
  part     TEXT NOT NULL,
  pours    INTEGER NOT NULL,
  habit    TEXT NOT NULL,
  PRIMARY KEY (operator, material, part)
) STRICT, WITHOUT ROWID;
