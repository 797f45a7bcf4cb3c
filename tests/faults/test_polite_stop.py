"""SIGTERM cuts no request and gives back what was begun."""

import time


class TestTerminatedUnderLoad:
    def test_the_web_answers_what_it_accepted_and_every_answer_holds(self, case):
        web = case.stack.web
        with case.load(threads=3) as load:
            time.sleep(0.7)
            status = web.terminate()
            web.start()
            time.sleep(0.7)

        case.wait_for_figures()
        verdict = case.judge()
        case.tell(f"web ended with {status}, {len(load.timings)} pushes")
        assert status == 0
        assert verdict.wrong == {}
        assert verdict.stored == verdict.asked

    def test_a_worker_finishes_or_gives_back_its_tasks(self, case):
        worker = case.stack.worker
        with case.load(send_again=False) as load:
            time.sleep(0.7)
            status = worker.terminate()
            worker.start()
            time.sleep(0.3)

        case.wait_for_figures()
        verdict = case.judge()
        case.tell(f"worker ended with {status}, {len(load.timings)} pushes")
        assert status == 0
        assert verdict.wrong == {}
        assert verdict.failed_pushes == 0
