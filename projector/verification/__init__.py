"""Published values as data, and the checks that `projector verify` and the tests share."""
