"""What an order is: draft, store, how it comes in and is answered; imports check and fit."""
