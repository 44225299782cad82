"""Running and re-writing workbooks; a design or a workbook on paper."""

FILES = ("blocks", "sieve", "typeset", "pages", "workbook", "handout")
