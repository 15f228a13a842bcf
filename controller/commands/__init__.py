"""What each command does, once its options are read. Imported only when the command runs."""
