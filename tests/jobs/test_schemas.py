"""The schema of every command, of several files too."""

import json

import pytest
from jsonschema import Draft202012Validator

import padbench
from padbench.cli import COMMANDS, main
from padbench.sheet import STARTER


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_a_schema(command):
    schema = padbench.json_schema(command)
    Draft202012Validator.check_schema(schema)
    assert not Draft202012Validator(schema).is_valid({})


def written(capsys, *arguments):
    main([*map(str, arguments), "--json"])
    return json.loads(capsys.readouterr().out)


def test_several_files_and_a_new_sheet_are_as_described(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Draft202012Validator(padbench.json_schema("new")).validate(written(capsys, "new", "pad.toml"))
    padbench.play(STARTER, "idle", waves=tmp_path)
    padbench.play(STARTER, "each-button", waves=tmp_path)
    both = written(capsys, "inspect", "idle.vcd", "each-button.vcd")
    schema = Draft202012Validator(padbench.json_schema("inspect", several=True))
    schema.validate(both)
    del both["results"][1]["reads"]
    assert not schema.is_valid(both)


def test_either_sweep_is_as_described(capsys):
    swept = written(capsys, "sweep", "--routine", "read-twice", "--period", "432")
    Draft202012Validator(padbench.json_schema("sweep")).validate(swept)
