"""Runs the built LV2 in jalv, on a JACK server without hardware.

Usage: jalv_tests.py BUNDLE
"""

import os
import re
import subprocess
import sys
import threading
import time

PLUGIN = "https://saddletone.invalid/plugins/saddletone"
PROGRAMS = ("Ride of the job", "Parked", "Town, 50 km/h", "Highway, 105 km/h")


def check(condition, words):
    if not condition:
        print("FAILED: " + words)
        sys.exit(1)
    print("passed: " + words)


def wait_for(condition, seconds):
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if condition():
            return True
        time.sleep(0.1)
    return False


class Jalv:
    """jalv with its commands and what it says."""

    def __init__(self, environment):
        self.process = subprocess.Popen(
            ["stdbuf", "-oL", "jalv", PLUGIN], env=environment, text=True, stdin=subprocess.PIPE,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, bufsize=1)
        self.words = ""
        self.reader = threading.Thread(target=self.read, daemon=True)
        self.reader.start()

    def read(self):
        for line in self.process.stdout:
            self.words += line

    def say(self, command):
        self.process.stdin.write(command + "\n")
        self.process.stdin.flush()

    def hears(self, words, seconds=90.0):
        return wait_for(lambda: words in self.words or self.process.poll() is not None,
                        seconds) and words in self.words


def jack_lines(environment, *command):
    return subprocess.run(command, env=environment, text=True, capture_output=True,
                          check=False).stdout.splitlines()


def try_plugin(environment):
    def ports():
        return jack_lines(environment, "jack_lsp")

    jalv = Jalv(environment)
    try:
        check(jalv.hears("Comm buffers"), f"jalv takes up the plug-in\n{jalv.words}")
        wanted = [f"Saddletone:{name}" for name in
                  ("audio_in_1", "audio_in_2", "audio_out_1", "audio_out_2")]
        check(wait_for(lambda: all(port in ports() for port in wanted), 90.0),
              f"its ports are on the server: {ports()}\n{jalv.words}")
        for number in (1, 2):
            code = subprocess.run(
                ["jack_connect", f"Saddletone:audio_out_{number}", f"system:playback_{number}"],
                env=environment, check=False, capture_output=True).returncode
            check(code == 0, f"output {number} is connected")
        jalv.say("presets")
        for program in PROGRAMS:
            check(jalv.hears(program), f"jalv offers the preset {program}")
        uris = re.findall(rf"(\S+) \({re.escape(PROGRAMS[3])}\)", jalv.words)
        check(len(uris) == 1, f"the preset has one name: {jalv.words[-600:]}")
        jalv.say("preset " + uris[0])
        jalv.say("controls")
        check(jalv.hears("saddletone_speedKmh = "), "it shows the controls after a preset")
        time.sleep(1.0)  # of playing
        check(jalv.process.poll() is None, f"it goes on playing\n{jalv.words}")
    finally:
        jalv.process.stdin.close()
        try:
            jalv.process.wait(timeout=90)
        except subprocess.TimeoutExpired:
            jalv.process.kill()
            jalv.process.wait()
    check(jalv.process.returncode == 0, f"it ends in order, with {jalv.process.returncode}")
    for word in ("error", "warning", "fail"):
        check(word not in jalv.words.lower(), f"jalv has no {word} to report\n{jalv.words}")


def main():
    bundle = sys.argv[1]
    server = f"saddletone-{os.getpid()}"
    environment = dict(os.environ, JACK_DEFAULT_SERVER=server, JACK_NO_AUDIO_RESERVATION="1",
                       LV2_PATH=os.path.dirname(bundle) + ":/usr/lib/lv2")
    jack = subprocess.Popen(
        ["jackd", "--no-realtime", "--no-mlock", "-n", server, "-d", "dummy", "-r", "48000", "-p",
         "512"], env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    try:
        check(wait_for(lambda: "system:playback_1" in jack_lines(environment, "jack_lsp"), 90.0),
              "the sound server is up")
        try_plugin(environment)
    finally:
        jack.terminate()
        jack.wait()


main()
