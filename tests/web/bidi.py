"""Two browsers by one protocol, WebDriver BiDi (W3C), over Debian's websocket client: Chromium through its driver, Firefox by itself.

    with Browser("chromium", folder) as browser:
        browser.size(1280, 900)
        browser.open("file:///tmp/page.html")
        browser.run("document.title")
"""
import json
import pathlib
import re
import shutil
import subprocess
import time
import urllib.request

try:
    import websocket
except ImportError:
    websocket = None

PROGRAMS = {"chromium": ("chromium", "chromedriver"), "firefox": ("firefox-esr",)}


def missing(name):
    """What a browser needs and is not there, in words; None where all is there."""
    if websocket is None:
        return "python3-websocket"
    absent = [program for program in PROGRAMS[name] if not shutil.which(program)]
    return ", ".join({"chromedriver": "chromium-driver"}.get(program, program) for program in absent) or None


class Browser:
    def __init__(self, name, folder):
        self.name, self.folder, self.next, self.events = name, pathlib.Path(folder), 0, []
        self.folder.mkdir(parents=True, exist_ok=True)

    def __enter__(self):
        try:
            self.socket = self._chromium() if self.name == "chromium" else self._firefox()
            self.ask("session.subscribe", events=["network.beforeRequestSent", "log.entryAdded"])
            self.context = self.ask("browsingContext.getTree")["contexts"][0]["context"]
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_):
        if getattr(self, "session", None):
            try:
                urllib.request.urlopen(urllib.request.Request(self.session, method="DELETE"), timeout=20).read()
            except OSError:
                pass
        elif getattr(self, "socket", None):
            try:
                self.ask("browser.close")
            except Exception:  # it may hang up before it answers
                pass
        self.process.terminate()
        try:
            self.process.wait(20)
        except subprocess.TimeoutExpired:
            self.process.kill()
        self.log.close()

    def _start(self, command, found):
        self.log = open(self.folder / (self.name + ".log"), "w+")
        self.process = subprocess.Popen(command, stdout=self.log, stderr=subprocess.STDOUT)
        for _ in range(600):
            match = re.search(found, (self.folder / (self.name + ".log")).read_text(errors="replace"))
            if match:
                return match.group(1)
            if self.process.poll() is not None:
                break
            time.sleep(0.1)
        raise RuntimeError(f"{command[0]} does not start; see {self.log.name}")

    def _chromium(self):
        port = self._start(["chromedriver", "--port=0"], r"started successfully on port (\d+)")
        arguments = ["--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
                     "--disable-component-update", "--disable-sync", f"--user-data-dir={self.folder / 'profile'}"]
        wanted = {"capabilities": {"alwaysMatch": {"browserName": "chrome", "webSocketUrl": True, "goog:chromeOptions": {
            "binary": shutil.which("chromium"), "args": arguments}}}}
        request = urllib.request.Request(f"http://127.0.0.1:{port}/session", json.dumps(wanted).encode(), {"Content-Type": "application/json"})
        made = json.loads(urllib.request.urlopen(request, timeout=120).read())["value"]
        self.session = f"http://127.0.0.1:{port}/session/{made['sessionId']}"
        return websocket.create_connection(made["capabilities"]["webSocketUrl"], timeout=300, suppress_origin=True)

    def _firefox(self):
        profile = self.folder / "firefox-profile"
        profile.mkdir(exist_ok=True)
        (profile / "user.js").write_text('user_pref("remote.active-protocols", 1);\nuser_pref("focusmanager.testmode", true);\n'
                                         'user_pref("datareporting.policy.dataSubmissionEnabled", false);\n')
        address = self._start(["firefox-esr", "--headless", "--no-remote", "--profile", str(profile), "--remote-debugging-port", "0"],
                              r"WebDriver BiDi listening on (ws://\S+)")
        socket = websocket.create_connection(address + "/session", timeout=300, suppress_origin=True)
        self.socket = socket
        self.ask("session.new", capabilities={})
        return socket

    def ask(self, method, **parameters):
        """A command and its result. @raises RuntimeError with what the browser says."""
        self.next += 1
        self.socket.send(json.dumps({"id": self.next, "method": method, "params": parameters}))
        while True:
            told = json.loads(self.socket.recv())
            if told.get("type") == "event":
                self.events.append(told)
            elif told.get("id") == self.next:
                if told["type"] == "error":
                    raise RuntimeError(f"{method}: {told['error']}: {told['message']}")
                return told["result"]

    def open(self, address):
        self.events.clear()
        self.ask("browsingContext.activate", context=self.context)  # keys go to the window in front
        self.ask("browsingContext.navigate", context=self.context, url=address, wait="complete")

    def size(self, width, height):
        self.ask("browsingContext.setViewport", context=self.context, viewport={"width": width, "height": height})

    def run(self, expression):
        """The value of an expression of JavaScript, awaited, by way of JSON."""
        told = self.ask("script.evaluate", expression=f"(async () => JSON.stringify(await ({expression})))()",
                        target={"context": self.context}, awaitPromise=True)
        if told["type"] != "success":
            raise RuntimeError(told["exceptionDetails"]["text"])
        return json.loads(told["result"]["value"]) if told["result"]["type"] == "string" else None

    def wait(self, expression, seconds=60):
        """Until an expression is true."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if self.run(f"Boolean({expression})"):
                return
            time.sleep(0.05)
        raise TimeoutError(f"{self.name}: {expression} does not come true within {seconds} s")

    def keys(self, *keys):
        """Keys one after the other: characters, or their names."""
        codes = {"Tab": "\ue004", "Enter": "\ue006", "Space": " ", "Left": "\ue012", "Up": "\ue013", "Right": "\ue014", "Down": "\ue015",
                 "Home": "\ue011", "End": "\ue010"}
        actions = [{"type": kind, "value": codes.get(key, key)} for key in keys for kind in ("keyDown", "keyUp")]
        self.ask("input.performActions", context=self.context, actions=[{"type": "key", "id": "keyboard", "actions": actions}])

    def press(self, key):
        """Enter or Space on what has the focus. A window of Firefox without a screen is never in front, and takes neither: clicked there."""
        if self.name == "firefox" and not self.run("document.hasFocus()"):
            self.run("document.activeElement.click()")
        else:
            self.keys(key)

    def drag(self, points):
        """The pointer pressed at the first point of the window, moved over the others, released."""
        moves = [{"type": "pointerMove", "x": int(x), "y": int(y)} for x, y in points]
        actions = moves[:1] + [{"type": "pointerDown", "button": 0}] + moves[1:] + [{"type": "pointerUp", "button": 0}]
        self.ask("input.performActions", context=self.context, actions=[{"type": "pointer", "id": "mouse", "actions": actions}])

    def picture(self, file):
        import base64
        told = self.ask("browsingContext.captureScreenshot", context=self.context, origin="document")
        pathlib.Path(file).write_bytes(base64.b64decode(told["data"]))

    def print(self, file):
        import base64
        told = self.ask("browsingContext.print", context=self.context)
        pathlib.Path(file).write_bytes(base64.b64decode(told["data"]))

    def requests(self):
        return [event["params"]["request"]["url"] for event in self.events if event["method"] == "network.beforeRequestSent"]

    def complaints(self):
        return [event["params"]["text"] for event in self.events
                if event["method"] == "log.entryAdded" and event["params"]["level"] in ("error", "warn")]
