"""What stands in `examples` is run by the tests beside it, as programs of their own."""

collect_ignore = ["examples", "coverage/decode_with_atheris.py"]
