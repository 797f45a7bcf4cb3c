"""Measure studies and write the page: `python -m tests.core.coverage [page ...]`.

With names of pages only their studies are measured; the others keep what the page says of them.
"""

import sys

from tests.core.coverage import page, studies


def main(pages: list[str]) -> None:
    found = studies.list_studies()
    unknown = set(pages) - {study.page for study in found}
    if unknown:
        sys.exit(f"no studies of {', '.join(sorted(unknown))}")
    written = page.read()
    measured = {}
    for study in found:
        if pages and study.page not in pages:
            measured[study.name] = [written[study.name, each.name] for each in study.figures]
            continue
        measured[study.name] = studies.measure(study)
        shares = ", ".join(
            f"{figure.name} {share:.3f}"
            for figure, share in zip(study.figures, measured[study.name], strict=True)
        )
        print(f"{study.name}: {shares}", flush=True)
    page.PAGE.write_text(page.render(measured, found), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
