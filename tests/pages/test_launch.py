"""How the pages are started."""

from pathlib import Path

from dashboards.launch import DEMO, FOLDER, command, environment


def flag(name, arguments):
    return arguments[arguments.index(f"--{name}") + 1]


def test_the_pages_listen_on_loopback():
    assert flag("server.address", command(Path("registry"), 8501)) == "127.0.0.1"


def test_nothing_is_reported_to_anybody():
    assert flag("browser.gatherUsageStats", command(Path("registry"), 8501)) == "false"


def test_errors_carry_no_details_to_the_screen():
    assert flag("client.showErrorDetails", command(Path("registry"), 8501)) == "none"


def test_the_folder_goes_through_the_environment(tmp_path):
    assert environment(tmp_path)[FOLDER] == str(tmp_path.resolve())
    assert str(tmp_path) not in " ".join(command(tmp_path, 8501))


def test_a_demo_is_announced_only_where_it_is_one(tmp_path):
    assert DEMO not in environment(tmp_path)

    (tmp_path / "DEMO").touch()

    assert environment(tmp_path)[DEMO] == "1"


def test_a_page_waits_for_what_is_being_saved():
    assert flag("runner.fastReruns", command(Path("registry"), 8501)) == "false"
