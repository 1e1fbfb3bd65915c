"""The scripts for a whole book of clients, against the real service and against one that fails on purpose."""
