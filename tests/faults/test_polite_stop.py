"""SIGTERM cuts no request and gives back what was begun."""

import time

# Whoever stops a program waits 30 s before it kills.
STOPS_WITHIN_SECONDS = 15.0


class TestTerminatedUnderLoad:
    def test_the_web_answers_what_it_accepted_and_every_answer_holds(self, case):
        web = case.stack.web
        with case.load(threads=3) as load:
            time.sleep(0.7)
            stopped_after = web.terminate()
            web.start()
            time.sleep(0.7)

        case.wait_for_figures()
        verdict = case.judge()
        case.tell(f"web stopped after {stopped_after:.1f} s, {len(load.timings)} pushes")
        assert stopped_after < STOPS_WITHIN_SECONDS
        assert verdict.wrong == {}
        assert verdict.stored == verdict.asked
        # A connection that nobody had read from yet may break; one whose push was stored may not.
        assert verdict.stored_unanswered == 0

    def test_a_worker_finishes_or_gives_back_its_tasks(self, case):
        worker = case.stack.worker
        with case.load(send_again=False) as load:
            time.sleep(0.7)
            stopped_after = worker.terminate()
            worker.start()
            time.sleep(0.3)

        case.wait_for_figures()
        verdict = case.judge()
        case.tell(f"worker stopped after {stopped_after:.1f} s, {len(load.timings)} pushes")
        assert stopped_after < STOPS_WITHIN_SECONDS
        assert verdict.wrong == {}
        assert verdict.failed_pushes == 0
