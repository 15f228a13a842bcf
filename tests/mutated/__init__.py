"""Every file and option that a user can give, damaged in many ways: one sentence, or a result that can be used."""
