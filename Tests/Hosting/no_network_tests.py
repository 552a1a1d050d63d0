"""Runs programs with every internet socket forbidden: the kernel ends a process that asks for one.

Usage: no_network_tests.py SADDLETONE STANDALONE

The standalone draws its pictures and is opened with its window and sound; the X server and the sound
system are reached over sockets of the machine itself, which stay allowed.
"""

import os
import signal
import socket
import subprocess
import sys
import tempfile
import time

import seccomp

FORBIDDEN = (socket.AF_INET, socket.AF_INET6, socket.AF_PACKET)


def forbid_internet():
    """Holds for this process and all that it starts."""
    rules = seccomp.SyscallFilter(seccomp.ALLOW)
    for family in FORBIDDEN:
        rules.add_rule(seccomp.KILL_PROCESS, "socket",
                       seccomp.Arg(0, seccomp.EQ, int(family)))
    rules.load()


def start(command, **options):
    return subprocess.Popen([str(part) for part in command], preexec_fn=forbid_internet,
                            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
                            **options)


def run(command, **options):
    process = start(command, **options)
    output, _ = process.communicate(timeout=240)
    return process.returncode, output


def check(condition, words, details=""):
    if not condition:
        print("FAILED: " + words + "\n" + details)
        sys.exit(1)
    print("passed: " + words)


def check_that_the_kernel_watches():
    for family in ("AF_INET", "AF_INET6"):
        for kind in ("SOCK_STREAM", "SOCK_DGRAM"):
            code, _ = run([sys.executable, "-c",
                           f"import socket; socket.socket(socket.{family}, socket.{kind})"])
            check(code == -signal.SIGSYS, f"a program that asks for {family}, {kind} is ended")
    code, _ = run(["sh", "-c", f"{sys.executable} -c 'import socket; socket.socket()'; exit $?"])
    check(code == 128 + signal.SIGSYS, "so is a program that it starts")
    code, _ = run([sys.executable, "-c", "import socket; socket.socket(socket.AF_UNIX)"])
    check(code == 0, "sockets of the machine itself are allowed")


def check_command_line(saddletone, folder):
    steps = [
        ["demo", "--out", folder + "/demo"],
        ["tracks", "--out", folder + "/tracks"],
        ["job", "check", folder + "/demo/job"],
        ["report", "--job", folder + "/demo/job", "--out", folder + "/report.html"],
    ]
    for step in steps:
        code, output = run([saddletone, *step])
        check(code == 0, f"saddletone {' '.join(step[:2])} asks for no network",
              f"ended with {code}: {output}")


def check_libraries(standalone):
    _, output = run(["ldd", standalone])
    check("libX11" in output or "libc.so" in output, "ldd reads the standalone")
    for name in ("curl", "webkit", "soup", "ssl"):
        check(name not in output, f"the standalone is linked with no lib{name}")


def check_pictures(standalone, folder, environment):
    for place in ("signals", "bike", "tuning", "listen"):
        picture = f"{folder}/{place}.png"
        code, output = run([standalone, "--job", folder + "/demo/job", "--place", place,
                            "--screenshot", picture], env=environment)
        check(code == 0 and os.path.getsize(picture) > 10000,
              f"the picture of {place} asks for no network", f"ended with {code}: {output}")


def check_window(standalone, folder, environment):
    process = start([standalone, "--job", folder + "/demo/job"], env=environment)
    deadline = time.monotonic() + 6.0
    while time.monotonic() < deadline and process.poll() is None:
        time.sleep(0.1)
    check(process.poll() is None,
          "the window opens, with sound, and asks for no network",
          f"ended with {process.poll()}")
    process.send_signal(signal.SIGINT)
    try:
        process.communicate(timeout=20)
    except subprocess.TimeoutExpired:
        process.kill()
        process.communicate()
    check(process.returncode != -signal.SIGSYS, "nor does it when it ends")


def main():
    saddletone, standalone = sys.argv[1:]
    with tempfile.TemporaryDirectory() as folder:
        # Settings of this run alone.
        environment = dict(os.environ, HOME=folder, XDG_CONFIG_HOME=folder + "/config")
        check_that_the_kernel_watches()
        check_command_line(saddletone, folder)
        check_libraries(standalone)
        check_pictures(standalone, folder, environment)
        check_window(standalone, folder, environment)


main()
