"""The command line: verbs in a line each, exit codes, and nothing raw on the terminal."""

import gzip
import os
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest
import tomli_w

import linkage
import linkage.__main__ as command
from linkage.__main__ import main
from linkage.commands import shared
from linkage.commands.verbs import VERBS
from linkage.gearing.words import said_input
from linkage.model.file import parse_model

EXAMPLES = Path(__file__).parents[1] / "examples"
STARTERS = Path(linkage.__file__).parent / "starters"
SERVO = str(EXAMPLES / "servo_arm.toml")


def run(*words, **options):
    return subprocess.run([sys.executable, "-m", "linkage", *words], capture_output=True,
                          check=False, timeout=300, **options)


def test_help_lists_every_verb_in_a_line():
    done = run("--help", text=True)
    assert done.returncode == 0
    lines = done.stdout.splitlines()
    for verb, (words, what) in VERBS.items():
        assert any(line.split() == [verb, *words.split(), *what.split()] for line in lines), verb


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_has_help_of_its_own(verb):
    done = run(verb, "--help", text=True)
    assert done.returncode == 0
    assert done.stdout.startswith(f"usage: linkage {verb} ")


def test_a_fault_of_the_program_is_one_sentence_and_its_details_a_file(monkeypatch, capsys,
                                                                         tmp_path):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr(command, "run", lambda argv: 1 / 0)
    assert main(["x.toml"]) == 3
    out, err = capsys.readouterr()
    assert out == ""
    assert len(err.splitlines()) == 1
    (details,) = tmp_path.iterdir()
    assert str(details) in err
    assert "ZeroDivisionError" in details.read_text()


def test_a_fault_that_can_not_be_written_down_is_one_sentence_too(monkeypatch, capsys):
    monkeypatch.setattr("tempfile.tempdir", "/no such folder")
    monkeypatch.setattr(command, "run", lambda argv: 1 / 0)
    assert main(["\udcff.toml"]) == 3
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert "could not be written down" in err


def test_interrupted_by_hand(monkeypatch, capsys):
    def stopped(argv):
        raise KeyboardInterrupt

    monkeypatch.setattr(command, "run", stopped)
    assert main(["x.toml"]) == 130
    assert len(capsys.readouterr().err.splitlines()) == 1


@pytest.mark.parametrize(("words", "says"), [
    ([], "FILE"),
    (["sizes"], '"sizes" is no verb and no file; did you mean "size"?'),
    ([SERVO, "--only", "clearence"], '--only: no chapter "clearence"; did you mean "clearance"?'),
    (["none.toml"], "none.toml"),
])
def test_bad_words_are_bad_input(words, says):
    done = run(*words, text=True)
    assert done.returncode == 2
    assert done.stdout == ""
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_nobody_reads_on():
    """A closed pipe is silent, and no verdict."""
    process = subprocess.Popen([sys.executable, "-m", "linkage", SERVO], stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE)
    process.stdout.close()
    err = process.stderr.read()
    process.stderr.close()
    assert process.wait(timeout=120) == 141
    assert err == b""


@pytest.mark.skipif(os.name != "posix", reason="no such shell")
@pytest.mark.parametrize("closed", [">&-", "2>&-"])
def test_an_output_that_was_closed_before_the_start_is_no_fault(closed):
    done = subprocess.run(f'"{sys.executable}" -m linkage --version {closed}; exit $?', shell=True,
                          check=False, capture_output=True, timeout=60)
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.parametrize("words", [[SERVO, "--only", "gearing", "--csv"], ["rig", SERVO, "--csv"],
                                   [SERVO, "--only", "gearing", "--out"], ["view", SERVO, "--out"]])
def test_a_name_that_no_folder_can_have_is_named(words, capsys):
    assert main([*words, "x" * 300]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert "is a name of 300 bytes" in err


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_a_full_disk_behind_the_output_is_one_sentence():
    with Path("/dev/full").open("w") as full:
        done = subprocess.run([sys.executable, "-m", "linkage", SERVO], stdout=full, check=False,
                              stderr=subprocess.PIPE, text=True, timeout=120)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert "No space left on device" in done.stderr


@pytest.mark.parametrize("encoding", ["ascii", "latin-1"])
def test_a_terminal_of_few_letters_gets_the_sheet_too(encoding):
    done = run(SERVO, "--only", "gearing", env={**os.environ, "PYTHONIOENCODING": encoding,
                                                "PYTHONUTF8": "0"})
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"Required travels" in done.stdout


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no second process")
def test_ended_from_outside_leaves_no_child():
    """The second core goes with the first, also where it is in the middle of its work."""
    process = subprocess.Popen([sys.executable, "-m", "linkage",
                                str(EXAMPLES / "side_by_side.toml")], stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, start_new_session=True)
    children = Path(f"/proc/{process.pid}/task/{process.pid}/children")
    for _ in range(600):
        if process.poll() is not None or (children.exists() and children.read_text().strip()):
            break
        time.sleep(0.05)
    young = children.read_text().split() if children.exists() else []
    process.send_signal(signal.SIGTERM)
    process.communicate(timeout=60)
    assert process.returncode == 143
    assert not any(Path(f"/proc/{child}").exists() for child in young)


@pytest.mark.parametrize(("words", "says"), [
    (["size", str(EXAMPLES / "aileron_run.toml"), "--seed", "-1"], "--seed is -1"),
    (["rig", SERVO, "--within", "-1"], "--within is -1"),
    (["rig", SERVO, "--trust", "nan"], "--trust is nan"),
    (["rig", SERVO, "--readings", "/dev/zero"], "is a folder, a device or a pipe"),
    (["/dev/zero"], "is a device or a pipe"),
    (["relief", str(EXAMPLES / "aileron_run.toml"), "airframe/rear spar left", "--out", "none",
      "--cutter", "\u00b2"], "is no length"),
])
def test_a_value_out_of_range_is_bad_input(words, says, capsys):
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert len(err.splitlines()) == 1
    assert says in err


@pytest.mark.parametrize(("old", "new", "says"), [
    ("diameter = 1.75 }", "diameter = 1e-9 }", "a hole has diameter 1e-09 in"),
    ("[4.0, -3.0], [4.0, 3.0]", "[4.0, 3.0], [4.0, -3.0]", "crosses or touches itself"),
    ("travel = [", "travel = [-50000, 1] #", "more than 3600\u00b0"),
    ("[clearance]", "[cable]\nx = 1\n[clearance]", '[coupling."NAME"]'),
    ("[clearance]", "[bungee]\nx = 1\n[clearance]", '[spring."NAME"] with ends'),
    ("[clearance]", "[mirror]\nleft = { x = 1 }\n[clearance]", "needs a text in quotes"),
    ("thickness = 0.063", "thickness = -0.125", "got -0.125 in"),
])
def test_gearing_alone_refuses_what_the_whole_run_would(old, new, says, tmp_path, capsys):
    text = (EXAMPLES / "aileron_run.toml").read_text(encoding="utf-8")
    if "[mirror]" in new:
        text = text.replace("[mirror]", "[meant]", 1)
    assert old in text
    path = tmp_path / "spoilt.toml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    assert main([str(path), "--only", "gearing"]) == 2
    err = capsys.readouterr().err
    assert len(err.splitlines()) == 1
    assert "spoilt.toml" in err
    assert says in err


def test_a_library_does_not_speak_on_the_terminal():
    """Matplotlib does where it finds no home for its settings."""
    words = ("import sys, logging; from linkage import __main__ as command; "
             "command.run = lambda argv: logging.getLogger('matplotlib').warning('no home') or 0; "
             "sys.exit(command.start())")
    done = subprocess.run([sys.executable, "-c", words], capture_output=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, b"", b"")


def hears_all():
    """Signals as in a terminal's own command; one in the background is deaf to some."""
    for number in (signal.SIGINT, signal.SIGHUP):
        signal.signal(number, signal.SIG_DFL)


@pytest.mark.skipif(os.name != "posix", reason="no such signals")
def test_a_run_that_is_to_outlive_its_terminal_does():
    """What `nohup` asks for: it has the signal of a closed terminal ignored."""
    process = subprocess.Popen([sys.executable, "-m", "linkage", SERVO, "--only", "gearing"],
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                               preexec_fn=lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN))
    while process.poll() is None:
        process.send_signal(signal.SIGHUP)
        time.sleep(0.05)
    process.communicate()
    assert process.returncode == 0


@pytest.mark.skipif(os.name != "posix", reason="no such signals")
@pytest.mark.parametrize(("sent", "code"), [(signal.SIGINT, 130), (signal.SIGHUP, 143)])
def test_a_real_end_from_the_terminal_is_one_line_at_most(sent, code):
    process = subprocess.Popen([sys.executable, "-m", "linkage",
                                str(EXAMPLES / "side_by_side_fixed.toml"), "--built"],
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                               start_new_session=True, preexec_fn=hears_all)
    time.sleep(3)
    os.killpg(process.pid, sent)
    _, err = process.communicate(timeout=60)
    assert process.returncode == code, err
    assert len(err.splitlines()) <= 1, err


def test_which_way_v_of_a_plate_goes_is_said(capsys):
    """Normal aft and u right make v up: stations aft, right and up are right-handed."""
    main([str(EXAMPLES / "aileron_run.toml"), "--only", "description"])
    lines = capsys.readouterr().out.splitlines()
    head = next(line.split() for line in lines if line.split()[:2] == ["plate", "normal"])
    row = next(line.split() for line in lines if "airframe/rear spar left" in line)
    assert head == ["plate", "normal", "u", "v"]
    assert row[-3:] == ["aft", "right", "up"]


@pytest.mark.parametrize("words", [["--only", "gearing"], ["view", "--out", "page.html"],
                                   ["--only", "description"], ["--only", "rods"]])
def test_a_surface_that_nothing_moves_beside_one_that_works(words, tmp_path, monkeypatch, capsys):
    """The state that a starter tells people to work in."""
    table = tomllib.loads((STARTERS / "tandem.toml").read_text(encoding="utf-8"))
    table["body"]["flap"] = {"pivot": [4000, 900, 0], "axis": "lateral",
                             "points": {"horn": [4000, 900, -60]}}
    table["surface"]["flap"] = {"body": "flap"}
    (tmp_path / "half.toml").write_text(tomli_w.dumps(table), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    verb = [words[0]] if words[0] == "view" else []
    assert main([*verb, "half.toml", *words[len(verb):]]) in (0, 1)
    out, err = capsys.readouterr()
    assert err == ""
    assert "nan" not in out
    if words[0] == "view":
        assert '"flap"' in (tmp_path / "page.html").read_text(encoding="utf-8")


def test_without_python_flint_a_report_says_what_the_checker_needs(monkeypatch):
    """The first install has none; what a person reads is how to get it, and no module's name."""
    from argparse import Namespace

    from linkage.commands.check import _Certificate
    from linkage.results import Results

    monkeypatch.setitem(sys.modules, "linkage.certificate", None)
    results = Results(linkage.load(SERVO))

    def made(**args):
        proof = _Certificate(Namespace(file=SERVO, **args), print)
        proof.begin(results)
        return proof.join()

    assert made(proof=None, out="x") is None
    assert results.checker == "not asked: it needs python-flint; pip install 'linkage[proof]'"
    with pytest.raises(ImportError):
        made(proof="p", out=None)


def test_an_input_is_not_named_twice_at_its_ends():
    from linkage.results.movements import ends_of

    system = linkage.System(parse_model(
        'length = "mm"\n[input.flap]\ntravel = ["0 mm", "12 mm"]\n[body.flap]\npivot = [0, 0, 0]'
        '\nslide = "fore-aft"\ninput = "flap"'))
    assert ends_of(system, stopped=False) == ["flap aft", "flap forward"]


def test_an_inch_file_is_spoken_of_in_inches(tmp_path, capsys):
    """A rule's reading beyond what the chord allows, and a slide's place."""
    (tmp_path / "r.csv").write_text("input,stick angle,surface,edge\nroll,1,aileron left,99\n")
    assert main(["rig", str(EXAMPLES / "aileron_run.toml"), "--readings",
                 str(tmp_path / "r.csv")]) == 2
    err = capsys.readouterr().err
    assert "edge: moved 99.000 in, and a chord of 9.000 in allows 18.000 in" in err
    slide = parse_model('length = "in"\n[input.flap]\ntravel = ["-0.5 in", "0.5 in"]')
    assert said_input(linkage.System(slide), "flap", -12.7) == "-0.500 in flap"


def test_long_work_is_told_on_a_terminal_and_nothing_in_a_pipe(monkeypatch, capsys):
    with shared.working("looking"):
        pass
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    with shared.working("looking"):
        time.sleep(1.2)
    assert "looking: 1 s" in capsys.readouterr().err


def take_a_point_out(path):
    """Put a point of a model file into a table of hardpoints beside it."""
    held = tomllib.loads(path.read_text(encoding="utf-8"))
    part, point = next((part, point) for part, home in held["body"].items()
                       for point in home.get("points", {}))
    place = ", ".join(str(k) for k in held["body"][part]["points"].pop(point))
    path.write_text(tomli_w.dumps({"hardpoints": "hardpoints.csv"} | held), encoding="utf-8")
    (path.parent / "hardpoints.csv").write_text(f"{part}/{point}, {place}\n", encoding="utf-8")


@pytest.mark.parametrize(("words", "own"), [
    (["size", "{file}", "--out", "{folder}/sized.toml"], "sized hardpoints.csv"),
    (["rig", "{file}", "--readings", "{folder}/r.csv", "--out", "{folder}/else/built.toml"],
     "else/built hardpoints.csv"),
    (["relief", "{file}", "airframe/rear spar left", "--out", "{folder}/else"],
     "else/run relieved hardpoints.csv")])
def test_a_table_that_would_be_replaced_is_seen_before_the_work(words, own, tmp_path, capsys,
                                                                monkeypatch):
    for work in ("sizing.size", "rigging.fit_as_built", "relief.relieve"):
        monkeypatch.setattr(f"linkage.{work}", lambda *_, **__: pytest.fail("work was begun"))
    (tmp_path / "else").mkdir()
    model = tmp_path / "run.toml"
    model.write_text((EXAMPLES / "aileron_run.toml").read_text(encoding="utf-8"), encoding="utf-8")
    take_a_point_out(model)
    (tmp_path / own).write_text("mine")
    assert main([word.format(file=model, folder=tmp_path) for word in words]) == 2
    err = capsys.readouterr().err
    assert f"{own}: is there already" in err
    assert (tmp_path / own).read_text() == "mine"


@pytest.mark.parametrize("words", [
    ["{file}", "--only", "clearance", "--proof", "{file}", "--replace"],
    ["{file}", "--only", "clearance", "--proof", "{link}", "--replace"],
    ["view", "{file}", "--out", "{file}", "--replace"],
    ["{file}", "--against", "{other}", "--proof", "{other}", "--replace"],
    ["{table}", "--only", "gearing", "--csv", "{folder}", "--replace"]])
def test_what_is_read_is_never_written_over(words, tmp_path, capsys):
    names = {name: tmp_path / name for name in ("file", "other", "table")}
    for path in names.values():
        path.write_text(Path(SERVO).read_text(encoding="utf-8"), encoding="utf-8")
    take_a_point_out(names["table"])
    (tmp_path / "link").symlink_to(names["file"])
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    places = {name: str(path) for name, path in names.items()}
    code = main([word.format(**places, link=tmp_path / "link", folder=tmp_path) for word in words])
    out, err = capsys.readouterr()
    assert (code, out, err.count("\n")) == (2, "", 1), err
    assert "choose another" in err
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


@pytest.mark.parametrize(("words", "says"), [
    (["size", SERVO, "--starts", "9" * 20], "--starts is 1e+20; give 1 to 10000"),
    (["relief", str(EXAMPLES / "aileron_run.toml"), "airframe", "--ligament", "0"],
     '--ligament: is "0"; give more than 0'),
    (["check-proof", SERVO, "{pipe}"], "is a device or a pipe; name a file"),
    (["check-proof", "{folder}", SERVO], "is a folder; name a file"),
    (["check-proof", SERVO, "{folder}/none"], "can't be read")])
def test_what_no_verb_can_do_is_refused_at_once(words, says, tmp_path, capsys):
    os.mkfifo(tmp_path / "pipe")
    words = [word.format(pipe=tmp_path / "pipe", folder=tmp_path) for word in words]
    if words[0] == "relief":
        words += ["--out", str(tmp_path / "out")]
    assert main(words) == 2
    err = capsys.readouterr().err
    assert (err.count("\n"), says in err) == (1, True), err


def test_a_proof_that_nothing_can_be_made_of_is_no_fault(tmp_path, capsys):
    proof = tmp_path / "proof.json.gz"
    packed = gzip.compress(b"{" * 1000)
    for held in (gzip.compress(b"[" * 100_000), packed[:20] + b"\0\xff" * 9, b"no gzip"):
        proof.write_bytes(held)
        assert main(["check-proof", SERVO, str(proof)]) == 1
        out, err = capsys.readouterr()
        assert (out.startswith("proof does not hold"), err) == (True, "")
