"""Keys in editors: what the functions say of a text, and a session over the wire with the server as an editor starts it."""

import json
import subprocess
import sys

import pytest

from classifier.editor import findings, meaning_at, names_at, read
from classifier.metrics import METRICS

KEY = """\
key "Fen" version 1
source H12 "Author (2012). Title."
taxon Examplia grandis "great bat"
    characteristic_frequency 12 to 18 kHz  [H12]
    status "vulnerable (an invented list)"
taxon Examplia vespera
    characteristic_frequency 22 to 30 kHz
group "both of them" Examplia grandis, Examplia vespera
let low_split = 20 kHz ± 1 kHz  # 𝔎 halfway
couplet 1 "how low?"
    1a characteristic_frequency < low_split => Examplia grandis
    1b otherwise => 2
couplet 2
    2a duration < 5 ms => "both of them", at most probable
    2b otherwise => Examplia vespera
passes
    definite when support >= 90 % and clear >= 5
refine Examplia grandis | Examplia vespera
    a median(duration) > 9 ms => Examplia grandis
    b otherwise => stays
"""


@pytest.fixture
def reading():
    return read(KEY, "fen.key")


def place(text, mark, offset=0):
    """(line, column) of a piece of the key."""
    at = KEY.index(mark) + offset if text is None else text.index(mark) + offset
    before = (KEY if text is None else text)[:at]
    return before.count("\n"), len(before) - (before.rfind("\n") + 1)


def offered(text, mark):
    """The names offered behind a piece of text, by kind."""
    found = {}
    for each in names_at(read(text, "fen.key"), *place(text, mark, len(mark))):
        found.setdefault(each.kind, []).append(each.text)
    return found


def test_findings_are_those_of_check(reading):
    assert findings(reading) == []
    faulty = read(KEY.replace("< low_split", "< 25"), "fen.key")
    ((found, span, message),) = [each for each in findings(faulty) if each[0].severity == "error"]
    assert (found.code, faulty.text[span.start : span.end]) == ("K203", "25")
    assert message.endswith("\nwrite `25 kHz`")
    unsafe = read(KEY.replace("20 kHz ± 1", "25 kHz ± 1"), "fen.key")
    assert "K410" in {each.code for each, _, _ in findings(unsafe)}


def test_what_stands_in_a_base_is_put_where_the_base_is_named(tmp_path):
    (tmp_path / "base.key").write_text(KEY.replace("< low_split", "< 25"), encoding="utf-8")
    text = '# a variant\nkey "v" version 1\nbased on "base.key"\n'
    path = tmp_path / "v.key"
    path.write_text(text)
    found = findings(read(text, str(path)))
    assert {text[span.start : span.end] for _, span, _ in found} == {'based on "base.key"'}
    assert any(message.startswith(f"{tmp_path / 'base.key'}:11: ") for _, _, message in found)


def test_metrics_and_lets_are_offered_in_conditions():
    found = offered(KEY.replace("duration < 5 ms", "dur"), "2a dur")
    assert set(found["metric"]) == set(METRICS)
    assert found["let"] == ["low_split"]
    assert "taxon" not in found


def test_behind_an_arrow_where_a_lead_can_go():
    found = offered(KEY, "1a characteristic_frequency < low_split => ")
    assert found["taxon"] == ["Examplia grandis", "Examplia vespera"]
    assert found["group"] == ['"both of them"']
    assert found["couplet"] == ["1", "2"]
    assert "unidentified" in found["word"]
    assert offered(KEY, '=> "both of them", ') == {"word": ["at most probable", "at most possible"]}


def test_in_refine_and_passes_what_passes_have():
    found = offered(KEY, "    a median(")
    assert {"alternation", "month"} <= set(found["statistic"])
    assert "median" in found["function"]
    assert "duration" in found["metric"]
    assert "couplet" not in offered(KEY, "> 9 ms => ")
    assert offered(KEY, "definite when support >= 90 % and ")["statistic"] == ["support", "clear", "pulses", "clearance"]


def test_sources_in_brackets_headings_at_the_margin_nothing_in_comments_and_texts():
    assert offered(KEY, "12 to 18 kHz  [") == {"source": ["H12", "chosen", "memory"]}
    assert "couplet" in offered(KEY + "cou", "otherwise => stays\ncou")["word"]
    assert offered(KEY, "# 𝔎 half") == {}
    assert offered(KEY, 'couplet 1 "how') == {}


@pytest.mark.parametrize(
    ("mark", "words"),
    [
        ("characteristic_frequency < low", "(kHz): "),
        ("low_split =>", "let low_split = 20 kHz ± 1 kHz"),
        ("Examplia grandis\n    1b", "12 to 18 kHz [H12]"),
        ("vespera\npasses", "22 to 30 kHz"),
        ('"both of them", at', "Examplia grandis, Examplia vespera"),
        ("2\ncouplet 2", "2a duration < 5 ms"),
        ("median(dur", "(of a quantity)"),
        ("support >=", "(%): share of the pass's votes"),
        ("duration) > 9", "told apart to 0.05 ms"),
    ],
)
def test_what_a_name_means(reading, mark, words):
    assert words in meaning_at(reading, *place(None, mark, 1))


def test_comments_and_blanks_mean_nothing(reading):
    assert meaning_at(reading, *place(None, "# 𝔎", 4)) is None
    assert meaning_at(reading, *place(None, "    1a", 1)) is None


# ------------------------------------------------------------------------------------------------------ over the wire


class Session:
    """An editor's side of the protocol, by its specification (Language Server Protocol 3.17): headers, then JSON."""

    def __init__(self):
        self.process = subprocess.Popen(
            [sys.executable, "-m", "classifier.editor"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
        self.number = 0

    def send(self, method, parameters, *, ask=True):
        self.number += 1
        message = {"jsonrpc": "2.0", "method": method, "params": parameters} | ({"id": self.number} if ask else {})
        body = json.dumps(message).encode()
        self.process.stdin.write(b"Content-Length: %d\r\n\r\n" % len(body) + body)
        self.process.stdin.flush()
        return self.until(lambda each: each.get("id") == self.number)["result"] if ask else None

    def until(self, wanted):
        while True:
            length = 0
            while line := self.process.stdout.readline().strip():
                if line.lower().startswith(b"content-length:"):
                    length = int(line.split(b":")[1])
            assert length, "the server has ended"
            message = json.loads(self.process.stdout.read(length))
            if wanted(message):
                return message

    def published(self):
        return self.until(lambda each: each.get("method") == "textDocument/publishDiagnostics")["params"]["diagnostics"]


@pytest.fixture
def session():
    pytest.importorskip("pygls")
    session = Session()
    session.send("initialize", {"processId": None, "rootUri": None, "capabilities": {}})
    session.send("initialized", {}, ask=False)
    yield session
    session.send("shutdown", None)
    session.send("exit", None, ask=False)
    assert session.process.wait(20) == 0


def test_a_session(session):
    uri = "file:///fen.key"
    text = KEY.replace("1a characteristic_frequency < low_split", "1a characteristic_frequency < 25")
    document = {"uri": uri, "languageId": "callkey", "version": 1, "text": text}
    session.send("textDocument/didOpen", {"textDocument": document}, ask=False)
    errors = [each for each in session.published() if each["severity"] == 1]  # that low_split is unused now is a warning
    assert [each["code"] for each in errors] == ["K203 unit-missing"]
    line = text.split("\n").index("    1a characteristic_frequency < 25 => Examplia grandis")
    assert errors[0]["range"] == {"start": {"line": line, "character": 34}, "end": {"line": line, "character": 36}}
    changed = {"textDocument": {"uri": uri, "version": 2}, "contentChanges": [{"text": KEY}]}
    session.send("textDocument/didChange", changed, ask=False)
    assert session.published() == []
    # Behind a letter outside the basic plane a column of the protocol counts two (UTF-16).
    row = KEY.split("\n").index("let low_split = 20 kHz ± 1 kHz  # 𝔎 halfway")
    at = {"textDocument": {"uri": uri}, "position": {"line": row, "character": 5}}
    assert "low_split = 20 kHz" in session.send("textDocument/hover", at)["contents"]["value"]
    at["position"] = {"line": 10, "character": len("    1a characteristic_frequency < low_split => ")}
    labels = [each["label"] for each in session.send("textDocument/completion", at)]
    assert "Examplia vespera" in labels
    (edit,) = session.send(
        "textDocument/formatting", {"textDocument": {"uri": uri}, "options": {"tabSize": 4, "insertSpaces": True}}
    )
    assert "    1b otherwise                            => 2\n" in edit["newText"]


def test_columns_are_those_of_the_protocol(session):
    text = 'key "𝔎𝔎" version 1 x\n'
    document = {"uri": "file:///k.key", "languageId": "callkey", "version": 1, "text": text}
    session.send("textDocument/didOpen", {"textDocument": document}, ask=False)
    first = session.published()[0]
    start = text.index("x")
    assert first["range"]["start"] in ({"line": 0, "character": start + 2}, {"line": 0, "character": 0})


def test_without_the_extra_there_is_a_sentence(monkeypatch, capsys):
    from classifier import editor

    monkeypatch.setitem(sys.modules, "pygls.lsp.server", None)
    assert editor.main() == 1
    assert capsys.readouterr().err == "the language server needs pygls; install it with: pip install 'callkey[editor]'\n"
