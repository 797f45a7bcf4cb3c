"""Measure every row and write the page: `python -m tests.core.false_alarms`."""

from tests.core.false_alarms import page


def main() -> None:
    measured = []
    for table in page.TABLES:
        rows = []
        for row in table.rows:
            rows.append(row.measure())
            print(f"{table.title}: {row.setting} {[round(x, 3) for x in rows[-1]]}", flush=True)
        measured.append(rows)
    page.PAGE.write_text(page.render(measured), encoding="utf-8")


if __name__ == "__main__":
    main()
