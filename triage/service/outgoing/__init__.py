"""What the program tells the outside: links to authorities, e-mail, webhooks."""
