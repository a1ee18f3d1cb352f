"""The commands, a file each; every one is loaded when it is first called."""
