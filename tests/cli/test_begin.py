"""Beginning a home: from options, from files, and what is said when something is missing or wrong."""

import os
import stat
from pathlib import Path

from tests.cli.conftest import begin, environment, program

FEW = ("--zone", "Europe/Dublin", "--country", "IE", "--term", "spring:2026-01-07:2026-03-27")


def test_a_home_begins_with_the_sample_programme_and_a_few_options(tmp_path: Path, files: Path) -> None:
    home = tmp_path / "home"
    made = program(
        home,
        *("init", "--name", "The Reeds", "--educator", "Ana Reed", "--password-file", files / "password"),
        *FEW,
        *("--learner", "asa:Asa:2:maths-2"),
    )
    assert made.status == 0, made.err
    assert made.out.startswith(f"The Reeds is ready in {home}. Ana Reed signs in as ana.\n")
    today = program(home, "today", "--json", "--now", "2026-01-12T09:00").json
    assert today["household"] == {"id": "home", "name": "The Reeds"}
    assert [learner["key"] for learner in today["learners"]] == ["asa"]
    assert [call["kind"] for call in today["calls"]] == ["order the next workbook"]


def test_the_secret_of_a_home_is_for_its_owner_alone(new_home: Path) -> None:
    mode = stat.S_IMODE(os.stat(new_home / "secret.key").st_mode)
    assert mode == 0o600
    assert len((new_home / "secret.key").read_text().strip()) == 64


def test_everything_that_is_missing_is_said_at_once(tmp_path: Path) -> None:
    home = tmp_path / "home"
    answer = program(home, "init")
    assert answer.status == 2
    for option in ("--name", "--educator", "--zone", "--country", "--term"):
        assert f"{option}: found nothing" in answer.err
    assert not home.exists()


def test_a_home_is_not_begun_twice(new_home: Path, files: Path, tmp_path: Path) -> None:
    before = (new_home / "secret.key").read_text()
    answer = program(new_home, *begin(files))
    assert answer.status == 2
    assert "home folder: found the home 'The Quays' already" in answer.err
    assert (new_home / "secret.key").read_text() == before


def test_a_weak_password_leaves_no_half_made_home(tmp_path: Path, files: Path) -> None:
    home, weak = tmp_path / "home", tmp_path / "weak"
    weak.write_text("1234\n")
    words = [weak if word == files / "password" else word for word in begin(files)]
    answer = program(home, *words)
    assert answer.status == 2
    assert "password: found a weak one" in answer.err
    again = program(home, *begin(files))
    assert again.status == 0, again.err


def test_learners_and_terms_that_cannot_be_meant_are_all_named(tmp_path: Path, files: Path) -> None:
    base = ("init", "--name", "R", "--educator", "Ana", "--password-file", files / "password")
    place = ("--zone", "Europe/Dublin", "--country", "IE")
    learners = program(tmp_path / "home", *base, *FEW, "--learner", "asa", "--learner", "ben:Ben:six")
    assert learners.status == 2
    assert "--learner: found 'asa'" in learners.err
    assert "--learner: found 'ben:Ben:six'" in learners.err
    terms = program(tmp_path / "home", *base, *place, "--term", "spring", "--term", "s:2026-02-30:2026-03-01")
    assert terms.status == 2
    assert "--term: found 'spring'" in terms.err
    assert "first day: found '2026-02-30'" in terms.err
    assert not (tmp_path / "home").exists()


def test_an_unknown_course_or_zone_is_named_by_what_is_allowed(tmp_path: Path, files: Path) -> None:
    base = ("init", "--name", "R", "--educator", "Ana", "--password-file", files / "password")
    course = program(tmp_path / "a", *base, *FEW, "--learner", "asa:Asa:2:magic-2")
    assert course.status == 2
    assert "'magic-2'" in course.err
    zone = program(
        tmp_path / "b",
        *base,
        "--zone",
        "Atlantis/Main",
        "--country",
        "IE",
        "--term",
        "s:2026-01-07:2026-03-27",
    )
    assert zone.status == 2
    assert "'Atlantis/Main'" in zone.err
    assert "Sorry" not in zone.err
    sample = program(tmp_path / "c", *base, *FEW, "--sample", "nowhere")
    assert sample.status == 2
    assert "one of harbour" in sample.err
    one = program(tmp_path / "d", *base, *FEW, "--programme", files / "programme.toml")
    assert one.status == 2
    assert "both or neither" in one.err


def test_questions_are_asked_at_a_terminal(tmp_path: Path) -> None:
    """A pseudo-terminal is a terminal: what a person types there is what `init` takes."""
    import pty
    import subprocess
    import time

    from tests.cli.conftest import PASSWORD, PROGRAM

    answers = [
        ("household", "The Reeds"),
        ("educator", "Ana Reed"),
        ("sign in", ""),
        ("learner", "asa:Asa:2:maths-2"),
        ("learner", ""),
        ("zone", "Europe/Dublin"),
        ("country", "IE"),
        ("term", "spring:2026-01-07:2026-03-27"),
        ("term", ""),
        ("Password", PASSWORD),
        ("confirm", PASSWORD),
    ]
    controller, terminal = pty.openpty()
    home = tmp_path / "home"
    process = subprocess.Popen(
        [*PROGRAM, "init"],
        env=environment(home),
        stdin=terminal,
        stdout=terminal,
        stderr=terminal,
        start_new_session=True,
    )
    os.close(terminal)
    seen = ""
    for question, answer in answers:
        until = time.monotonic() + 120
        while question.lower() not in seen.lower() and time.monotonic() < until:
            seen += os.read(controller, 4096).decode()
        assert question.lower() in seen.lower(), seen
        seen = ""
        time.sleep(0.05)
        os.write(controller, f"{answer}\n".encode())
    try:
        while chunk := os.read(controller, 4096):
            seen += chunk.decode()
    except OSError:  # Linux says so when the other end has closed
        pass
    os.close(controller)
    assert process.wait(timeout=300) == 0, seen
    assert "The Reeds is ready" in seen
    assert PASSWORD not in seen
