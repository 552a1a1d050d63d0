"""The customer's report as a browser shows and prints it: two pages of A4 and of Letter, nothing
asked of the network, nothing that sticks out; its figures against figures worked out here.

Usage: report_page_tests.py PATH_OF_SADDLETONE
Needs chromium and pdfinfo (poppler-utils).
"""

import base64
import csv
import fcntl
import html.parser
import json
import math
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import unittest

PROGRAM = ""

# Paper in millimetres, and the margins that the report asks for (10 above, 9 below, 12 beside).
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
MARGINS_MM = {"beside": 24.0, "above_and_below": 19.0}
PX_PER_MM = 96.0 / 25.4

# Everything that sticks out of the page or of the graph it belongs to. Cells that are cut with an
# ellipsis hide what is longer; that is meant.
STICKING_OUT = """(() => {
  const found = [];
  const width = document.documentElement.clientWidth;
  const isCut = (element) => {
    for (let at = element; at && at !== document.body; at = at.parentElement)
      if (getComputedStyle(at).overflowX !== 'visible') return true;
    return false;
  };
  const say = (what, element) =>
      found.push(what + ': ' + element.tagName + ' ' + element.textContent.slice(0, 60));
  for (const element of document.body.querySelectorAll('*')) {
    if (element.closest('svg') && element.tagName !== 'svg') continue;
    const box = element.getBoundingClientRect();
    if (box.width === 0 || isCut(element)) continue;
    if (box.right > width + 0.5 || box.left < -0.5) say('beside the page', element);
    if (element.clientWidth > 0 && element.scrollWidth > element.clientWidth + 1)
      say('wider than its box', element);
  }
  for (const svg of document.querySelectorAll('svg')) {
    const outer = svg.getBoundingClientRect();
    for (const text of svg.querySelectorAll('text')) {
      const box = text.getBoundingClientRect();
      if (box.left < outer.left - 1 || box.right > outer.right + 1 || box.top < outer.top - 1
          || box.bottom > outer.bottom + 1) say('outside its graph', text);
    }
  }
  return {found, heights: [...document.querySelectorAll('.page')].map(
      (page) => page.getBoundingClientRect().height)};
})()"""


class Browser:
    """Chromium without a window, spoken to over a pair of pipes (DevTools protocol)."""

    def __init__(self, folder):
        command_end, self.commands = os.pipe()
        self.answers, answer_end = os.pipe()
        # Numbers that the shell can name; the browser reads commands from 3 and answers on 4.
        inner = [fcntl.fcntl(end, fcntl.F_DUPFD, 20) for end in (command_end, answer_end)]
        os.close(command_end)
        os.close(answer_end)
        self.profile = tempfile.TemporaryDirectory(dir=folder)
        options = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
                   "--disable-background-networking", "--disable-component-update", "--disable-sync",
                   "--disable-dev-shm-usage", f"--user-data-dir={self.profile.name}",
                   "--remote-debugging-pipe", "about:blank"]
        self.process = subprocess.Popen(
            ["bash", "-c", f'exec chromium "$@" 3<&{inner[0]} 4>&{inner[1]}', "bash", *options],
            pass_fds=inner, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for end in inner:
            os.close(end)
        self.number = 0
        self.received = b""
        self.events = []
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self.session = None
        self.session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for part in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{part}.enable")

    def read(self):
        while b"\0" not in self.received:
            more = os.read(self.answers, 1 << 20)
            if not more:
                raise RuntimeError("the browser ended")
            self.received += more
        message, self.received = self.received.split(b"\0", 1)
        return json.loads(message)

    def call(self, method, **parameters):
        self.number += 1
        message = {"id": self.number, "method": method, "params": parameters}
        if getattr(self, "session", None):
            message["sessionId"] = self.session
        os.write(self.commands, json.dumps(message).encode() + b"\0")
        while True:
            answer = self.read()
            if answer.get("id") == self.number:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                return answer["result"]
            self.events.append(answer)

    def open(self, file):
        """Opens a file; what the page asked for and complained of until it was loaded."""
        self.events = []
        self.call("Page.navigate", url=pathlib.Path(file).as_uri())
        while not any(event.get("method") == "Page.loadEventFired" for event in self.events):
            self.events.append(self.read())
        asked = [event["params"]["request"]["url"] for event in self.events
                 if event.get("method") == "Network.requestWillBeSent"]
        complaints = [event for event in self.events if event.get("method") in (
            "Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Log.entryAdded")]
        return asked, complaints

    def layout(self, width_px, height_px, media):
        self.call("Emulation.setEmulatedMedia", media=media)
        self.call("Emulation.setDeviceMetricsOverride", width=round(width_px), height=round(height_px),
                  deviceScaleFactor=1, mobile=False)
        return self.call("Runtime.evaluate", expression=STICKING_OUT, returnByValue=True)["result"]["value"]

    def print(self, paper, file):
        width, height = PAPERS[paper]
        printed = self.call("Page.printToPDF", paperWidth=width / 25.4, paperHeight=height / 25.4,
                            printBackground=True, preferCSSPageSize=False)
        with open(file, "wb") as pdf:
            pdf.write(base64.b64decode(printed["data"]))

    def close(self):
        try:
            self.session = None
            self.call("Browser.close")
        except (RuntimeError, OSError):
            pass
        self.process.wait(timeout=60)
        os.close(self.commands)
        os.close(self.answers)
        self.profile.cleanup()


class Text(html.parser.HTMLParser):
    """The text of a page, and its tables as rows of cells."""

    def __init__(self, file):
        super().__init__()
        self.rows = []
        self.words = []
        self.in_cell = False
        self.skipped = 0
        with open(file, encoding="utf-8") as page:
            self.feed(page.read())
        self.text = " ".join(" ".join(self.words).split())

    def handle_starttag(self, tag, attributes):
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")
            self.in_cell = True
        if tag in ("style", "title"):
            self.skipped += 1

    def handle_endtag(self, tag):
        if tag in ("td", "th"):
            self.in_cell = False
        if tag in ("style", "title"):
            self.skipped -= 1

    def handle_data(self, data):
        if self.skipped:
            return
        self.words.append(data)
        if self.in_cell:
            self.rows[-1][-1] += data

    def row(self, head):
        return next(row for row in self.rows if row and row[0].startswith(head))


def read_json(file):
    with open(file, encoding="utf-8") as text:
        return json.load(text)


def write_json(file, document):
    os.makedirs(os.path.dirname(file), exist_ok=True)
    with open(file, "w", encoding="utf-8") as text:
        json.dump(document, text)


def run(*arguments):
    made = subprocess.run([PROGRAM, *arguments], capture_output=True, text=True, check=False)
    assert made.returncode == 0, made.stderr
    return made


def number(text):
    """A number as the report writes it, with a true minus sign."""
    return float(re.search(r"[-+]?\d+(\.\d+)?", text.replace("\u2212", "-"))[0])


def pages_of(pdf):
    told = subprocess.run(["pdfinfo", pdf], capture_output=True, text=True, check=True).stdout
    size = re.search(r"Page size:\s+([\d.]+) x ([\d.]+) pts", told)
    return int(re.search(r"Pages:\s+(\d+)", told)[1]), [float(size[1]), float(size[2])]


LONG = "A touring bicycle of steel with panniers, lids, pods and a very long name "


def fill(job):
    """Makes of the demo's job one with more of everything than a page has room for."""
    document = read_json(f"{job}/job.json")
    document.update(title=LONG * 3, shop=LONG, bike=LONG * 2, question=("Why does " + LONG) * 4 + "?")
    first = document["states"]
    for copy in range(2, 3):
        for state in list(first[:4]):
            name = f"{state['id']}-{copy}"
            source = f"{job}/{state['file'][:-5]}"
            copied = read_json(f"{source}.json")
            copied["name"] = f"{LONG}{name}"
            copied["state"]["microphonePlace"] = f"left ear, {copy} cm in front of the pad of the helmet"
            copied["state"]["volumeStep"] = str(10 + copy)
            copied["measuredOn"] = f"2026-05-0{copy}"
            copied["microphone"] = f"Measuring microphone {copy}, recorder on the belt, gain at 12 of 60"
            copied["impulse"]["file"] = f"{name}.impulse.wav"
            shutil.copy(f"{source}.impulse.wav", f"{job}/states/{name}.impulse.wav")
            if "harmonics" in copied:
                del copied["harmonics"]
            write_json(f"{job}/states/{name}.json", copied)
            document["states"].append({"id": name, "file": f"states/{name}.json"})
    filters = [{"type": "peaking", "frequencyHz": 60.0 * 1.6 ** index, "gainDb": (-1) ** index * (1.5 + index / 4),
                "q": 0.7 + index / 5, "label": "a label that nobody needs to read"} for index in range(12)]
    write_json(f"{job}/tunings/long.json",
               {"kind": "saddletone-tuning", "schemaVersion": 2, "name": LONG,
                "chains": [{"group": "all", "elements": filters[:8]},
                           {"group": "left", "elements": filters[8:] + [{"type": "delay", "delayMs": 1.25}]},
                           {"group": "right", "elements": [{"type": "limiter", "thresholdDbfs": -6.0}]}]})
    document["candidates"] = document["candidates"][:4]
    for candidate in document["candidates"]:
        candidate.pop("isProposed", None)
    for index in range(4):
        document["candidates"].append({"name": f"{LONG}{index}", "stateId": first[index]["id"],
                                       "tuningFile": "tunings/long.json", "isProposed": index == 3})
    run_of_test = {"kind": "preference", "outcome": "complete", "startedAt": "2026-05-01T09:30:00Z",
                   "trialsPlanned": 12, "seed": 5, "orderMethod": "splitmix64-shuffle-1",
                   "candidates": [{"name": LONG + "one", "stateId": first[0]["id"], "matchGainDb": 0.0},
                                  {"name": LONG + "two", "stateId": first[1]["id"], "matchGainDb": 1.0}],
                   "conditions": {"match": "equal-loudness", "monitor": "programme-and-noise", "speedKmh": 105.0,
                                  "noiseTrimDb": 0.0, "helmet": "full", "screen": "none", "earPlugs": "none",
                                  "volumeDb": 0.0, "programme": "music.wav"},
                   "trials": [{"order": [0, 1], "answer": 0}] * 12}
    document["blindRuns"] = [run_of_test] * 5
    write_json(f"{job}/job.json", document)


class ReportPageTests(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        at = cls.folder.name
        run("demo", "--out", f"{at}/demo")
        cls.job = f"{at}/demo/job"
        shutil.copytree(cls.job, f"{at}/full")
        fill(f"{at}/full")
        shutil.copytree(cls.job, f"{at}/bare")
        bare = read_json(f"{at}/bare/job.json")
        bare["candidates"] = []
        write_json(f"{at}/bare/job.json", bare)
        for name in ("full", "bare"):
            run("report", "--job", f"{at}/{name}", "--out", f"{at}/{name}.html")
        run("report", "--job", cls.job, "--out", f"{at}/kmh.html", "--units", "kmh",
            "--speeds-kmh", "50,80,120")
        cls.reports = {"demo": f"{at}/demo/report.html", **{name: f"{at}/{name}.html"
                                                            for name in ("full", "bare", "kmh")}}
        cls.browser = Browser(at)

    @classmethod
    def tearDownClass(cls):
        cls.browser.close()
        cls.folder.cleanup()

    def test_it_prints_on_two_pages_of_either_paper(self):
        for name, report in self.reports.items():
            asked, complaints = self.browser.open(report)
            self.assertEqual(complaints, [], name)
            self.assertEqual([url for url in asked if not url.startswith("file:")], [], name)
            self.assertEqual(len(asked), 1, name)
            for paper, (width, height) in PAPERS.items():
                pdf = f"{self.folder.name}/{name}-{paper}.pdf"
                self.browser.print(paper, pdf)
                pages, size = pages_of(pdf)
                self.assertEqual(pages, 2, f"{name} on {paper}")
                for points, millimetres in zip(size, (width, height)):
                    self.assertAlmostEqual(points, millimetres / 25.4 * 72.0, delta=1.5)

    def test_nothing_sticks_out_of_its_page(self):
        for name, report in self.reports.items():
            self.browser.open(report)
            for paper, (width, height) in PAPERS.items():
                room = (height - MARGINS_MM["above_and_below"]) * PX_PER_MM
                layout = self.browser.layout((width - MARGINS_MM["beside"]) * PX_PER_MM, room, "print")
                self.assertEqual(layout["found"], [], f"{name} on {paper}")
                self.assertEqual(len(layout["heights"]), 2)
                for index, used in enumerate(layout["heights"]):
                    self.assertLessEqual(used, room, f"page {index + 1} of {name} on {paper}")

    def test_the_appendix_and_a_narrow_screen_have_room_for_all(self):
        for name in ("demo", "full"):
            appendix = self.reports[name].replace(".html", ".appendix.html")
            for file, media, width in ((appendix, "print", 703), (appendix, "screen", 1000),
                                       (self.reports[name], "screen", 1000), (self.reports[name], "screen", 400)):
                asked, complaints = self.browser.open(file)
                self.assertEqual((len(asked), complaints), (1, []), file)
                self.assertEqual(self.browser.layout(width, 900, media)["found"], [], f"{file} {media} {width}")

    def state(self, identifier):
        return read_json(f"{self.job}/states/{identifier}.json")

    @staticmethod
    def relative(state):
        """Third octaves re their mean from 500 Hz to 2 kHz, those that are trusted."""
        bands = {band["frequencyHz"]: band["levelDb"] for band in state["bands"] if band["trusted"]}
        middle = [level for hz, level in bands.items() if 490.0 < hz < 2040.0]
        return {hz: level - sum(middle) / len(middle) for hz, level in bands.items()}

    def test_the_difference_of_parked_and_running_is_that_of_the_state_files(self):
        parked = self.relative(self.state("stock-parked"))
        running = self.relative(self.state("stock-running"))
        difference = {hz: running[hz] - parked[hz] for hz in parked if hz in running}
        largest = max(difference.values(), key=abs)
        text = Text(self.reports["demo"]).text
        shown = re.search(r"this radio plays another curve: ([\d.]+) dB (less|more) at", text)
        self.assertEqual(shown[2], "less" if largest < 0 else "more")
        self.assertAlmostEqual(float(shown[1]), abs(largest), delta=0.051)
        with open(self.reports["demo"].replace(".html", ".curves.csv"), encoding="utf-8", newline="") as file:
            table = list(csv.DictReader(file))
        column = next(name for name in table[0] if "less" in name and "difference (dB)" in name)
        for row in table:
            hz = float(row["Frequency (Hz)"])
            near = [value for band, value in difference.items() if abs(band / hz - 1.0) < 0.01]
            if near and row[column]:
                self.assertAlmostEqual(float(row[column]), near[0], delta=0.002)

    def test_the_table_of_the_road_is_consistent_and_its_wind_is_the_published_one(self):
        page = Text(self.reports["demo"])
        noise = page.row("Noise at the ear")
        levels = [number(cell) for cell in noise if "dB(A)" in cell]
        # Wind alone: 90 dB(A) at 40 mph and 54 dB a decade (Docs/ride.md); tyres and engine come on top.
        for level, mph in zip(levels, (45.0, 75.0)):
            wind = 90.0 + 54.0 * math.log10(mph / 40.0)
            self.assertGreater(level, wind - 0.1)
            self.assertLess(level, wind + 3.0)
        numbered = [row for row in page.rows if row and re.match(r"[1-5] ", row[0]) and len(row) == 9]
        self.assertEqual(len(numbered), 5)
        for row in numbered:
            music = number(row[3])
            self.assertIn("assumed", row[3])
            self.assertAlmostEqual(number(row[4]), music - levels[0], delta=0.11)
            self.assertAlmostEqual(number(row[6]), music - levels[1], delta=0.11)
            heard = [number(row[5]), number(row[7])]
            self.assertGreaterEqual(heard[0], heard[1])
            self.assertTrue(all(0.0 <= share <= 100.0 for share in heard))

    def test_the_settings_to_type_in_are_those_of_the_tuning_file(self):
        document = read_json(f"{self.job}/job.json")
        proposed = next(each for each in document["candidates"] if each.get("isProposed"))
        tuning = read_json(f"{self.job}/{proposed['tuningFile']}")
        elements = [element for chain in tuning["chains"] for element in chain["elements"]]
        filters = [element for element in elements if "frequencyHz" in element]
        rows = [row for row in Text(self.reports["demo"]).rows
                if len(row) == 6 and row[0].isdigit() and row[0] == str(int(row[0]))]
        self.assertEqual(len(rows), len(filters))
        for row, element in zip(rows, filters):
            self.assertAlmostEqual(number(row[2]), element["frequencyHz"], delta=0.051)
            if element["type"] == "high-pass":
                self.assertEqual(row[5], f"Butterworth, order {element['order']}")
                continue
            self.assertAlmostEqual(number(row[3]), element["gainDb"], delta=0.051)
            self.assertAlmostEqual(number(row[4]), element.get("q", math.sqrt(0.5)), delta=0.0051)
        # Of a job with too many of them none is shown on the page, and all in the appendix.
        full = Text(self.reports["full"])
        self.assertIn("too many for this page", full.text)
        appendix = Text(self.reports["full"].replace(".html", ".appendix.html"))
        self.assertIn("Overall gain", appendix.text)
        self.assertIn("delay 1.25 ms", appendix.text)

    def test_speeds_are_in_the_units_asked_for(self):
        text = Text(self.reports["kmh"]).text
        self.assertNotIn("mph", text)
        for speed in ("50 km/h", "80 km/h", "120 km/h"):
            self.assertIn(speed, text)
        self.assertIn("75 mph (121 km/h)", Text(self.reports["demo"]).text)

    def test_what_a_customer_is_owed_stands_on_the_two_pages(self):
        text = Text(self.reports["demo"]).text
        for words in ("INVENTED DEMO DATA", "What was measured", "day 20", "not calibrated", "parked, engine off",
                      "The proposal, to be typed in", "What remains audible on the road",
                      "What the proposal asks of the speakers", "Mean power of a speaker", "Peaks of the cone",
                      "What was heard blind", "No blind test was made", "Cautions", "Measured",
                      "Estimated or assumed", "report.appendix.html", "report.curves.csv"):
            self.assertIn(words, text)
        self.assertIn("was liked best: 12 of 12", Text(self.reports["full"]).text)


if __name__ == "__main__":
    PROGRAM = os.path.abspath(sys.argv.pop(1))
    unittest.main()
