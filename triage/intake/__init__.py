"""What is said on a call, heard as a report: who calls, from where, which machine, and what is known."""
