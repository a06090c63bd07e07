"""A person at a terminal: a command in a pseudo-terminal, whose screen is read and whose questions are answered."""

import fcntl
import os
import pty
import re
import select
import struct
import subprocess
import termios
import time

QUIET_S = 0.15  # [s] after which a question at the end of the screen waits for its answer
PROMPT = re.compile(r"(?:\?|plays|records|on) \[[^\n]*\] $")
ROWS, COLUMNS = 50, 110


class Person:
    """Runs until `end`; `screen` is all that was shown."""

    def __init__(self, command):
        self.master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
        self.process = subprocess.Popen(
            [str(word) for word in command],
            stdin=slave,
            stdout=slave,
            stderr=slave,
            env={**os.environ, "TERM": "xterm", "OMP_NUM_THREADS": "1"},
            start_new_session=True,
        )
        os.close(slave)
        self.screen = ""
        self.read_to = 0

    def wait_for_question(self, *, limit_s=60.0):
        """What was shown since the last answer; None where the command has ended."""
        end_s = time.monotonic() + limit_s
        while time.monotonic() < end_s:
            if select.select([self.master], [], [], QUIET_S)[0]:
                try:
                    shown = os.read(self.master, 65536)
                except OSError:  # the other end is closed
                    shown = b""
                if not shown:
                    return None
                self.screen += shown.decode(errors="replace").replace("\r\n", "\n")
            elif PROMPT.search(self.screen[self.read_to :]):
                return self.screen[self.read_to :]
        msg = f"no question within {limit_s} s; the screen ends with: {self.screen[-1500:]}"
        raise TimeoutError(msg)

    def type(self, text):
        self.read_to = len(self.screen)
        os.write(self.master, f"{text}\n".encode())

    def answer(self, answers):
        """Answer the question at the end of the screen: the text of the first key that it begins with, else Enter."""
        shown = self.screen[self.read_to :]
        question = shown.rpartition("\n")[2].rpartition("\r")[2]
        found = next((answer for key, answer in answers.items() if question.startswith(key)), "")
        self.type(found(shown) if callable(found) else found)

    def wait_until_shown(self, word, then_s):
        """Wait for a word on the screen since the last answer, and so long after it."""
        end_s = time.monotonic() + 30.0
        while word not in self.screen[self.read_to :]:
            assert time.monotonic() < end_s, self.screen[-1500:]
            if select.select([self.master], [], [], QUIET_S)[0]:
                self.screen += os.read(self.master, 65536).decode(errors="replace").replace("\r\n", "\n")
        time.sleep(then_s)

    def send(self, number):
        self.process.send_signal(number)

    def go_through(self, answers, *, before_answer=lambda _shown: None, most=80):
        """Answer every question until the command ends; its exit code."""
        for _ in range(most):
            shown = self.wait_for_question()
            if shown is None:
                return self.process.wait(timeout=10.0)
            before_answer(shown)
            self.answer(answers)
        msg = f"more than {most} questions; the screen ends with: {self.screen[-1500:]}"
        raise TimeoutError(msg)

    def end(self):
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        os.close(self.master)
