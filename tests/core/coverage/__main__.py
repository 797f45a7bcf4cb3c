"""Measure every study and write the page: `python -m tests.core.coverage`."""

from tests.core.coverage import page, studies


def main() -> None:
    found = studies.list_studies()
    measured = {}
    for study in found:
        measured[study.name] = studies.measure(study)
        shares = ", ".join(
            f"{figure.name} {share:.3f}"
            for figure, share in zip(study.figures, measured[study.name], strict=True)
        )
        print(f"{study.name}: {shares}", flush=True)
    page.PAGE.write_text(page.render(measured, found), encoding="utf-8")


if __name__ == "__main__":
    main()
